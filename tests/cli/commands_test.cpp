// The command line as scripts rely on it: exit statuses, JSON, and a case folder that bad input never changes.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "imaging/volume_file.h"
#include "support/commands.h"
#include "support/made_body.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using test::Answer;
using test::run;
using testing::HasSubstr;

constexpr const char* kRequest = R"({
  "requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "GC-MS", "uses_mg": 3}],
                "replicates": 2, "spacing_mm": 12, "sides": "both", "largest_particle_mm": 0.8}],
  "needles": [{"outer_mm": 3.0, "bore_mm": 2.4, "throw_mm": 20, "usable_mm": 150}],
  "placement": {"placement_mm": 1.5, "depth_mm": 1.0}, "time_s": 3})";

/// A case with the true map of a made body, oriented and marked: what most commands start from.
class Commands : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    made_ = new test::MadeBody(test::made_body());
    base_ = new test::ScratchFolder();
    write_hu(made_->hu, path("ct.nrrd"));
    write_labels(made_->materials, path("truth.nrrd"));
    std::ofstream(path("request.json")) << kRequest;
    ASSERT_EQ(run({"segment", path("ct.nrrd"), "--case", path("origin"), "--materials", path("truth.nrrd"), "--object", "MADE"}).status, 0);
    ASSERT_EQ(run({"mark", "--case", path("origin"), "--as", "cavity", "--name", "packing", "--material", "packing"}).status, 0);
    const Answer oriented = run({"orient", "--case", path("origin"), "--head", "0,0,1", "--front=0,-1,0", "--midline",
                                 write("midline.json", "[[0,34,210],[0,34,370]]"), "--by", "N. N."});
    ASSERT_EQ(oriented.status, 0) << oriented.err;
    const Answer proposed = run({"propose", "--case", path("origin"), "--request", path("request.json"), "--json"});
    ASSERT_EQ(proposed.status, 0) << proposed.err;
    proposed_ = new json(proposed.json());
  }
  static void TearDownTestSuite() {
    delete made_;
    delete base_;
    delete proposed_;
  }
  void SetUp() override {
    fs::remove_all(path("case"));
    fs::copy(path("origin"), path("case"), fs::copy_options::recursive);
  }
  static std::string path(const std::string& name) { return (base_->path() / name).string(); }
  static std::string write(const std::string& name, const std::string& text) {
    std::ofstream(path(name)) << text;
    return path(name);
  }
  static Answer in_case(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin() + 1, {"--case", path("case")});
    return run(arguments);
  }
  /// Refused with status 2, one or two lines, and nothing in the case folder changed.
  static void expect_refused(std::vector<std::string> arguments, const std::string& says) {
    const auto before = test::snapshot(path("case"));
    const Answer answer = in_case(std::move(arguments));
    EXPECT_EQ(answer.status, 2) << answer.err;
    EXPECT_THAT(answer.err, HasSubstr(says));
    EXPECT_LE(std::ranges::count(answer.err, '\n'), 2) << answer.err;
    EXPECT_EQ(answer.out, "");
    EXPECT_EQ(test::snapshot(path("case")), before);
  }

  static test::MadeBody* made_;
  static test::ScratchFolder* base_;
  static json* proposed_;
};
test::MadeBody* Commands::made_ = nullptr;
test::ScratchFolder* Commands::base_ = nullptr;
json* Commands::proposed_ = nullptr;

TEST_F(Commands, UnknownNamesAreAnsweredWithTheNearest) {
  EXPECT_THAT(run({"segmnt"}).err, HasSubstr("did you mean segment?"));
  EXPECT_THAT(run({"inspect", "--jsn", "x"}).err, HasSubstr("did you mean --json?"));
  EXPECT_EQ(run({"segmnt"}).status, 2);
  EXPECT_EQ(run({}).status, 2);
  EXPECT_EQ(run({"--help"}).status, 0);
}

TEST_F(Commands, InspectSaysWhatAFolderLacks) {
  EXPECT_EQ(run({"inspect", path("nowhere")}).status, 2);
  fs::create_directories(path("empty"));
  const Answer empty = run({"inspect", path("empty"), "--json"});
  EXPECT_EQ(empty.status, 2);
  EXPECT_TRUE(empty.json()["series"].empty());
  const Answer text = run({"segment", write("notes.txt", "hello"), "--case", path("never")});
  EXPECT_EQ(text.status, 2);
  EXPECT_FALSE(fs::exists(path("never")));
}

TEST_F(Commands, InspectReadsTheMadeBody) {
  const Answer answer = run({"inspect", path("ct.nrrd"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json series = answer.json()["series"][0];
  EXPECT_EQ(series["size"], json({110, 84, 60}));
  EXPECT_EQ(series["usable"], true);
}

TEST_F(Commands, SegmentAnswersByTheContract) {
  const Answer answer = run({"segment", path("ct.nrrd"), "--case", path("fresh"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json j = answer.json();
  EXPECT_EQ(j["labels"]["support"], 7);
  for (const char* key : {"volume_mm3", "mean_hu", "air_check_hu", "noise_hu", "seconds", "peak_rss_mb"})
    EXPECT_TRUE(j.contains(key)) << key;
  EXPECT_NEAR(j["air_check_hu"], -1000, 5);
  EXPECT_TRUE(fs::exists(path("fresh/materials.nrrd")));
  EXPECT_TRUE(fs::exists(path("fresh/confidence.nrrd")));
  EXPECT_EQ(run({"segment", path("ct.nrrd"), "--case", path("fresh2"), "--series", "1.2.3"}).status, 2);
}

TEST_F(Commands, WhatAPersonCorrectedSurvivesSegmentingAgain) {
  ASSERT_EQ(run({"segment", path("ct.nrrd"), "--case", path("again")}).status, 0);
  Volume<std::uint8_t> map = read_labels(path("again/materials.nrrd"));
  const std::size_t corrected = map.grid.offset(55, 40, 30);
  map.values[corrected] = map.values[corrected] == 5 ? 3 : 5;
  write_labels(map, path("corrected.nrrd"));
  ASSERT_EQ(run({"segment", path("ct.nrrd"), "--case", path("again"), "--materials", path("corrected.nrrd")}).status, 0);
  ASSERT_EQ(run({"segment", path("ct.nrrd"), "--case", path("again")}).status, 0);
  EXPECT_EQ(read_labels(path("again/materials.nrrd")).values[corrected], map.values[corrected]);
  EXPECT_EQ(read_labels(path("again/confidence.nrrd")).values[corrected], 255);
}

TEST_F(Commands, ProposeKeepsToTheRequest) {
  const json& j = *proposed_;
  ASSERT_EQ(j["feasible"], true);
  ASSERT_EQ(j["tracks"].size(), 2u);
  EXPECT_NE(j["tracks"][0]["side"], j["tracks"][1]["side"]);
  for (const json& t : j["tracks"]) {
    EXPECT_EQ(t["admissible"], true) << t.dump(1);
    EXPECT_GE(t["clearance_mm"]["dense-1"], 5.0);
    EXPECT_LE(t["entry_angle_deg"], 45.0);
    double parts = 0;
    for (const json& part : t["damage"]["parts"]) parts += part.get<double>();
    EXPECT_NEAR(parts, t["damage"]["score"].get<double>(), 1e-6);
    EXPECT_LE(t["core"]["mass_mg_p05"], t["core"]["mass_mg"]);
  }
  EXPECT_LE(j["certificate"]["lower_bound"], j["programme"]["score"]);
  EXPECT_TRUE(j.contains("settings"));
}

TEST_F(Commands, AssessOfTheCasesOwnTracksIsWhatProposeSaid) {
  const Answer answer = in_case({"assess", "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  EXPECT_EQ(answer.json()["tracks"], (*proposed_)["tracks"]);
}

TEST_F(Commands, AssessTakesATrackOfMine) {
  // Straight down from the front onto the left packing column.
  const std::string tracks = write("tracks.json", R"({"tracks": [{"id": "M", "entry_lps_mm": [32, -80, 290],
    "tip_lps_mm": [32, 10, 290], "needle": {"outer_mm": 3, "bore_mm": 2.4, "throw_mm": 20, "usable_mm": 150}}]})");
  const Answer answer = in_case({"assess", "--tracks", tracks, "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json t = answer.json()["tracks"][0];
  EXPECT_EQ(t["crossings"][0]["material"], "wrapping");
  EXPECT_EQ(t["side"], "left");
  EXPECT_TRUE(t["core"]["p_enough"].is_null());
  EXPECT_NEAR(t["core"]["volume_mm3"], 90.48, 0.01);   // pi/4 2.4^2 20
}

TEST_F(Commands, BadInputChangesNothing) {
  expect_refused({"mark", "--as", "cavity", "--name", "x", "--ball", "900,900,900,5"}, "no voxel");
  expect_refused({"mark", "--as", "cavity", "--name", "x", "--ball", "1,2,3"}, "4 finite numbers");
  expect_refused({"mark", "--as", "hole", "--name", "x", "--ball", "0,0,290,5"}, "cavity, keep-out, opening or zone");
  expect_refused({"mark", "--as", "zone", "--name", "x", "--ball", "0,0,290,5"}, "--weight");
  expect_refused({"mark", "--as", "cavity", "--name", "dense-3", "--ball", "0,0,290,5"}, "kept for dense");
  expect_refused({"mark", "--remove", "nothing"}, "no mark");
  expect_refused({"mark", "--remove", "dense-1"}, "waive");
  expect_refused({"mark", "--waive", "dense-1", "--by", "N. N."}, "reason");
  expect_refused({"mark", "--as", "keep-out", "--name", "x", "--mask", path("none.nrrd")}, "none.nrrd");
  expect_refused({"orient", "--head", "0,0,1", "--front", "0,-1,1", "--by", "N. N."}, "90");
  expect_refused({"orient", "--accept", "--head", "0,0,1", "--by", "N. N."}, "either");
  expect_refused({"orient", "--accept", "--midline", write("short.json", "[[0,0,0]]"), "--by", "N. N."}, "two points");
  expect_refused({"approve", "--role", "king", "--by", "N. N."}, "radiologist");
  expect_refused({"approve", "--role", "committee", "--by", "N. N.", "--plan", "0000000000"}, "changed after");
  expect_refused({"adopt", "--track", "A99"}, "no alternative");
  expect_refused({"segment", path("ct.nrrd"), "--materials", path("small.nrrd")}, "small.nrrd");
}

TEST_F(Commands, BadRequestsNameTheKey) {
  const auto propose = [&](const std::string& text, const std::string& says) {
    expect_refused({"propose", "--request", write("bad.json", text)}, says);
  };
  propose(R"({"requests": [)", "line 1");
  propose(R"({"requests": []})", "requests");
  propose(R"({"requests": [{"id": "P", "from": {"cavity": "heart"}, "assays": [{"name": "a", "uses_mg": 1}]}]})", "heart");
  propose(R"({"requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "a", "uses_mg": 1}]}],
              "needles": [{"outer_mm": 2, "bore_mm": 2.4, "throw_mm": 20, "usable_mm": 100}]})", "bore");
  propose(R"({"requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "a", "uses_mg": -1}]}]})", "uses_mg");
  propose(R"({"requests": [{"id": "P", "from": {"cavity": "packing"}, "asays": []}]})", "assays");
}

TEST_F(Commands, TracksOfAnotherFrameOfReferenceAreRefused) {
  expect_refused({"assess", "--tracks", write("other.json", R"({"frame_of_reference_uid": "1.2.3", "tracks": [{"id": "M",
    "entry_lps_mm": [32, -80, 290], "tip_lps_mm": [32, 10, 290], "needle": "core 2.4 mm bore 20 mm"}]})")}, "another CT");
}

TEST_F(Commands, SidesNeedAConfirmedFrame) {
  ASSERT_EQ(run({"segment", path("ct.nrrd"), "--case", path("unconfirmed"), "--materials", path("truth.nrrd")}).status, 0);
  ASSERT_EQ(run({"mark", "--case", path("unconfirmed"), "--as", "cavity", "--name", "packing", "--material", "packing"}).status, 0);
  const Answer answer = run({"propose", "--case", path("unconfirmed"), "--request", path("request.json")});
  EXPECT_EQ(answer.status, 2);
  EXPECT_THAT(answer.err, HasSubstr("orient"));
}

TEST_F(Commands, WhatCannotBeReachedIsNoAnswerAndLeavesTheCase) {
  json request = json::parse(kRequest);
  request["requests"][0]["assays"][0]["uses_mg"] = 500;
  const auto before = test::snapshot(path("case"));
  const Answer answer = in_case({"propose", "--request", write("greedy.json", request.dump()), "--json"});
  EXPECT_EQ(answer.status, 3) << answer.err;
  const json j = answer.json();
  EXPECT_EQ(j["feasible"], false);
  EXPECT_EQ(j["blocking"][0]["constraint"], "mass");
  EXPECT_EQ(j["blocking"][0]["needed"], 500.0);
  EXPECT_LT(j["blocking"][0]["best_found"], 500.0);
  EXPECT_EQ(test::snapshot(path("case")), before);
}

void approve_all(const std::string& case_path) {
  for (const std::string role : {"radiologist", "conservator", "committee"})
    ASSERT_EQ(run({"approve", "--case", case_path, "--role", role, "--by", "N. N."}).status, 0);
}

TEST_F(Commands, ApprovalsHoldUntilSomethingChangesAndVerifyNamesIt) {
  EXPECT_EQ(in_case({"verify"}).status, 4);
  approve_all(path("case"));
  ASSERT_EQ(in_case({"print"}).status, 0);
  const Answer sound = in_case({"verify"});
  EXPECT_EQ(sound.status, 0) << sound.err;
  ASSERT_EQ(in_case({"mark", "--as", "keep-out", "--name", "new", "--ball", "0,0,290,6"}).status, 0);
  const Answer marked = in_case({"verify"});
  EXPECT_EQ(marked.status, 4);
  EXPECT_THAT(marked.err, HasSubstr("marks"));
  EXPECT_THAT(marked.err, HasSubstr("printout"));
  ASSERT_EQ(in_case({"mark", "--remove", "new"}).status, 0);
  EXPECT_EQ(in_case({"verify"}).status, 0);   // the same plan again: what they agreed to
  ASSERT_EQ(in_case({"mark", "--waive", "dense-1", "--by", "N. N.", "--why", "a nail"}).status, 0);
  EXPECT_THAT(in_case({"verify"}).err, HasSubstr("waivers"));
}

TEST_F(Commands, ADeclineCounts) {
  approve_all(path("case"));
  ASSERT_EQ(in_case({"approve", "--role", "conservator", "--by", "N. N.", "--decline", "--note", "too brittle"}).status, 0);
  const Answer answer = in_case({"verify", "--json"});
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.err, HasSubstr("declined"));
  EXPECT_EQ(answer.json()["ok"], false);
}

TEST_F(Commands, SegmentingAgainVoidsApprovals) {
  approve_all(path("case"));
  ASSERT_EQ(in_case({"segment", path("ct.nrrd"), "--materials", path("truth.nrrd")}).status, 0);
  const Answer answer = in_case({"verify"});
  EXPECT_EQ(answer.status, 4);
  EXPECT_THAT(answer.err, HasSubstr("segmented again"));
}

TEST_F(Commands, ATamperedPrintoutOrMapIsNoticed) {
  approve_all(path("case"));
  ASSERT_EQ(in_case({"print"}).status, 0);
  const fs::path pdf = fs::directory_iterator(path("case/printouts"))->path();
  std::ofstream(pdf, std::ios::app) << "%";
  EXPECT_THAT(in_case({"verify"}).err, HasSubstr("changed after it was printed"));
  Volume<std::uint8_t> map = made_->materials;
  map.values[0] = 1;
  write_labels(map, path("case/materials.nrrd"));
  EXPECT_THAT(in_case({"verify"}).err, HasSubstr("materials"));
}

TEST_F(Commands, ExportsAreReadByOthers) {
  ASSERT_EQ(in_case({"export", "--what", "materials", "--as", "nrrd", "--output", path("m.nrrd")}).status, 0);
  EXPECT_EQ(read_labels(path("m.nrrd")).values, made_->materials.values);
  ASSERT_EQ(in_case({"export", "--what", "tracks", "--as", "csv", "--output", path("t.csv")}).status, 0);
  std::ifstream csv(path("t.csv"));
  std::string line;
  int lines = 0;
  while (std::getline(csv, line)) ++lines;
  EXPECT_EQ(lines, 3);
  EXPECT_EQ(in_case({"export", "--what", "materials", "--as", "csv", "--output", path("m.csv")}).status, 2);
}

TEST_F(Commands, AnAlternativeIsAdoptedInPlaceOfATrack) {
  ASSERT_FALSE((*proposed_)["alternatives"].empty());
  const json alternative = (*proposed_)["alternatives"][0];
  const std::string id = alternative["id"], place = alternative["in_place_of"];
  const json before = in_case({"assess", "--json"}).json();
  const Answer adopted = in_case({"adopt", "--track", id, "--in-place-of", place});
  ASSERT_EQ(adopted.status, 0) << adopted.err;
  EXPECT_THAT(adopted.out, HasSubstr(id + " enters the plan as " + place));
  const json after = in_case({"assess", "--json"}).json();
  EXPECT_EQ(after["tracks"].size(), 2u);
  EXPECT_EQ(after["programme"]["score"], alternative["programme"]["score"]);   // as the search said it would be
  EXPECT_FALSE(after.contains("certificate"));
  // The track that made room can be had back under the same id.
  ASSERT_EQ(in_case({"adopt", "--track", id, "--in-place-of", place}).status, 0);
  EXPECT_EQ(in_case({"assess", "--json"}).json()["programme"], before["programme"]);
}

TEST_F(Commands, LesserChoicesAndFirmnessStandBesideTheProposal) {
  const json& prices = (*proposed_)["prices"];
  ASSERT_EQ(prices.size(), 4u);
  EXPECT_EQ(prices[0]["choice"], "nothing");
  EXPECT_EQ(prices[0]["score"], 0.0);
  for (const json& price : prices) EXPECT_NE(price["lost"], "");
  EXPECT_LE(prices[2]["score"], (*proposed_)["programme"]["score"]);
  EXPECT_EQ(prices[2]["cores"], 1);
  EXPECT_THAT((*proposed_)["firmness"]["in_words"].get<std::string>(), HasSubstr("of 100 draws"));
}

TEST_F(Commands, NumbersThatMeanNothingAreRefusedByTheirOption) {
  const auto said = [](std::vector<std::string> arguments) {
    const Answer answer = run(arguments);
    EXPECT_EQ(answer.status, 2) << answer.err;
    return answer.err;
  };
  const auto enough = [&](const std::string& bore, const std::string& length) {
    return said({"enough", "--bore", bore, "--throw", length, "--density", "0.2,0.3", "--need", "20"});
  };
  EXPECT_THAT(enough("-2", "20"), HasSubstr("--bore is -2; allowed: above 0 and up to 19 mm"));
  EXPECT_THAT(enough("nan", "20"), HasSubstr("--bore"));
  EXPECT_THAT(enough("2.4", "0"), HasSubstr("--throw is 0"));
  EXPECT_THAT(said({"enough", "--bore", "2.4", "--throw", "20", "--density", "0.2,0.3", "--need", "20", "--filling", "gold"}), HasSubstr("--filling"));
  EXPECT_THAT(said({"assess", "--case", path("case"), "--seed", "-3"}), HasSubstr("--seed"));
  EXPECT_THAT(said({"verify", "--case", path(std::string(300, 'a'))}), HasSubstr("File name too long"));
  const auto mark = [&](const std::string& name) {
    return said({"mark", "--case", path("case"), "--as", "cavity", "--name", name, "--ball", "30,5,290,9"});
  };
  EXPECT_THAT(mark("dense-12"), HasSubstr("kept for dense objects"));
  EXPECT_THAT(mark("dense-" + std::string(100'000, '1')), HasSubstr("at most 100 bytes"));
}

TEST_F(Commands, PointsBeyondReasonAndDeepNestingAreRefused) {
  expect_refused({"orient", "--accept", "--by", "N. N.", "--midline", write("far.json", "[[0,0,1e30],[0,0,2]]")}, "100000 mm");
  expect_refused({"orient", "--accept", "--by", "N. N.", "--midline", write("huge.json", "[[0,0,1e999],[0,0,2]]")}, "too large");
  expect_refused({"mark", "--as", "cavity", "--name", "c", "--contours", write("deep.json", std::string(5000, '['))}, "deeper");
  expect_refused({"assess", "--tracks", write("twice.json", R"({"tracks":[],"tracks":[]})")}, "twice");
}

}  // namespace
}  // namespace leastharm
