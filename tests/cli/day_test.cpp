// The day of sampling and after, as scripts rely on it: transfer, card, record, use, archive. The
// object is an invented body whose true place in every scan is known.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>

#include "imaging/error.h"
#include "imaging/intake.h"
#include "imaging/volume_file.h"
#include "support/bag_check.h"
#include "support/commands.h"
#include "support/poppler.h"
#include "support/taken_core.h"
#include "support/test_body.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using test::Answer;
using test::grid_about;
using test::pose;
using test::run;
using test::Scan;
using test::scan_of;
using test::taken;
using testing::HasSubstr;
using testing::Not;

const RigidTransform kPlanned = pose({0, 0, 1}, 0, {13, -220, 610});
const RigidTransform kDay = pose({0.3, 1, 0.5}, 7, {53, -220, 610});  // 7 degrees, 40 mm

constexpr const char* kRequest = R"({
  "requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "GC-MS", "uses_mg": 3}],
                "replicates": 2, "spacing_mm": 12, "sides": "both", "largest_particle_mm": 0.8}],
  "needles": [{"outer_mm": 3.0, "bore_mm": 2.4, "throw_mm": 20, "usable_mm": 150}],
  "placement": {"placement_mm": 1.5, "depth_mm": 1.0}, "limits": {"bone_mm": 0}, "time_s": 3,
  "dossier": {"stop rules": "Anybody may stop it."}})";

/// Runs /usr/bin/python3 (Debian's, with rdflib and jsonschema) on a script; true where it ends
/// well.
bool python(const std::string& script) {
  return std::system(("/usr/bin/python3 -W ignore -c '" + script + "' >/dev/null 2>&1").c_str()) ==
         0;
}
bool python_has(const std::string& module) { return python("import " + module); }

class Day : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    base_ = new test::ScratchFolder();
    const Scan planned = scan_of({}, kPlanned, grid_about(kPlanned, {2.0, 2.0, 2.5}), 20, 1);
    write_hu(planned.hu, path("ct.nrrd"));
    write_labels(planned.materials, path("truth.nrrd"));
    write_hu(scan_of({}, kDay, grid_about(kDay, {1.9, 1.9, 3.0}), 20, 2).hu, path("day.nrrd"));
    write("request.json", kRequest);
    need(run({"segment", path("ct.nrrd"), "--case", path("origin"), "--materials",
              path("truth.nrrd"), "--object", "INVENTED-6"}));
    need(run({"mark", "--case", path("origin"), "--as", "cavity", "--name", "packing", "--material",
              "packing"}));
    need(run({"mark", "--case", path("origin"), "--as", "zone", "--name", "face", "--weight", "5",
              "--ball=13,-270,775,45"}));
    need(run({"orient", "--case", path("origin"), "--head", "0,0,1", "--front=0,-1,0", "--midline",
              write("midline.json", "[[13,-190,500],[13,-190,760]]"), "--by", "N. N."}));
    need(run({"propose", "--case", path("origin"), "--request", path("request.json")}));
    const Answer moved =
        run({"transfer", "--case", path("origin"), "--ct", path("day.nrrd"), "--json"});
    need(moved);
    transfer_ = new json(moved.json());
  }
  static void TearDownTestSuite() {
    delete base_;
    delete transfer_;
  }
  void SetUp() override {
    ASSERT_NE(transfer_, nullptr);
    fs::remove_all(path("case"));
    fs::copy(path("origin"), path("case"), fs::copy_options::recursive);
  }
  static void need(const Answer& answer) {
    if (answer.status != 0) throw std::runtime_error(answer.err);
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
  static void expect_refused(std::vector<std::string> arguments, int status,
                             const std::string& says) {
    const auto before = test::snapshot(path("case"));
    const Answer answer = in_case(std::move(arguments));
    EXPECT_EQ(answer.status, status) << answer.err;
    EXPECT_THAT(answer.err, HasSubstr(says));
    EXPECT_LE(std::ranges::count(answer.err, '\n'), 2) << answer.err;
    EXPECT_TRUE(test::snapshot(path("case")) == before);
  }
  static Vec3 vec(const json& j) {
    return Vec3(j[0].get<double>(), j[1].get<double>(), j[2].get<double>());
  }
  static json case_json() { return json::parse(test::text_of(path("case/case.json"))); }
  static Vec3 planned_tip(std::size_t n) {
    return vec(case_json()["plan"]["tracks"][n]["tip_lps_mm"]);
  }
  static Vec3 planned_entry(std::size_t n) {
    return vec(case_json()["plan"]["tracks"][n]["entry_lps_mm"]);
  }
  /// Where a place of the planning CT truly lies on the day.
  static Vec3 true_place(const Vec3& planning_lps) {
    return kDay.apply(kPlanned.inverse().apply(planning_lps));
  }

  static json aborted() {
    return {{"outcome", "aborted"},
            {"reason", "unexpected resistance at 31 mm"},
            {"taken_at", "2026-03-04T09:10:00Z"},
            {"persons", {{{"name", "O. Example"}, {"role", "operator"}}}}};
  }
  static Answer record(const std::string& track, const json& said) {
    return in_case(
        {"record", "--track", track, "--taken", write("taken.json", said.dump()), "--json"});
  }

  static test::ScratchFolder* base_;
  static json* transfer_;
};
test::ScratchFolder* Day::base_ = nullptr;
json* Day::transfer_ = nullptr;

TEST_F(Day, TransferIsWithinOneMillimetreAtEachTip) {
  const json& t = *transfer_;
  ASSERT_EQ(t["tracks"].size(), 2u);
  for (std::size_t n = 0; n < 2; ++n) {
    EXPECT_LT((vec(t["tracks"][n]["tip_lps_mm"]) - true_place(planned_tip(n))).norm(), 1.0);
    EXPECT_LT((vec(t["tracks"][n]["entry_lps_mm"]) - true_place(planned_entry(n))).norm(), 1.0);
    EXPECT_GT(t["registration"]["tips"][n]["error_p95_mm"], 0.0);
    EXPECT_LT(t["registration"]["tips"][n]["error_p95_mm"], 3.0);
  }
  EXPECT_EQ(t["same_ct"], false);
  EXPECT_NEAR(t["registration"]["rotation_deg"], 7, 0.1);
}

TEST_F(Day, TransferLeavesThePlanAsItWas) {
  json with = case_json();
  const Answer again = in_case({"transfer", "--ct", path("day.nrrd"), "--json"});
  ASSERT_EQ(again.status, 0) << again.err;
  EXPECT_EQ(again.json()["number"], 2);
  EXPECT_EQ(again.json()["tracks"], (*transfer_)["tracks"]);
  json now = case_json();
  EXPECT_EQ(now["records"].size(), 2u);
  with.erase("records"), now.erase("records");
  EXPECT_EQ(now, with);
}

TEST_F(Day, TransferAssessesEachTrackInTheDaysCt) {
  const json then = run({"assess", "--case", path("case"), "--json"}).json()["tracks"];
  const json now = (*transfer_)["assessment"]["tracks"];
  for (std::size_t n = 0; n < then.size(); ++n) {
    EXPECT_NEAR(now[n]["path_length_mm"], then[n]["path_length_mm"], 2.5);
    EXPECT_NEAR(now[n]["core"]["mass_mg"], then[n]["core"]["mass_mg"].get<double>(),
                0.15 * then[n]["core"]["mass_mg"].get<double>());
    EXPECT_EQ(now[n]["side"], then[n]["side"]);
    EXPECT_EQ(now[n]["admissible"], then[n]["admissible"]) << now[n]["findings"] << now[n]["core"]["p_enough"] << " instead of " << then[n]["core"]["p_enough"];
  }
}

TEST_F(Day, TheVeryCtOfThePlanNeedsNoRegistration) {
  const Answer answer = in_case({"transfer", "--ct", path("ct.nrrd"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  EXPECT_EQ(answer.json()["same_ct"], true);
  EXPECT_NEAR((vec(answer.json()["tracks"][0]["tip_lps_mm"]) - planned_tip(0)).norm(), 0, 1e-9);
}

TEST_F(Day, ADayCtThatDoesNotFitIsRefused) {
  const auto scan = [&](const test::TestBody& body, const std::string& name) {
    write_hu(scan_of(body, kDay, grid_about(kDay, {2.2, 2.2, 3.0}), 20, 5).hu, path(name));
    return path(name);
  };
  expect_refused({"transfer", "--ct", scan({.inner_shift_mm = {5, 0, 0}}, "shifted.nrrd")}, 3,
                 "moved against the outside");
  expect_refused({"transfer", "--ct", scan({.stretch = 0.8}, "other.nrrd")}, 2,
                 "does not show the object");
  expect_refused({"transfer", "--ct", path("day.nrrd"), "--limit", "0.05"}, 3,
                 "over the limit of 0.1 mm");
  Scan mirrored = scan_of({}, kDay, grid_about(kDay, {2.2, 2.2, 3.0}), 20, 6);
  const Grid& g = mirrored.hu.grid;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j) {
      const auto row = mirrored.hu.values.begin() + static_cast<std::ptrdiff_t>(g.offset(0, j, k));
      std::reverse(row, row + g.size[0]);
    }
  write_hu(mirrored.hu, path("mirrored.nrrd"));
  expect_refused({"transfer", "--ct", path("mirrored.nrrd")}, 2, "mirrored");
  expect_refused({"transfer", "--ct", path("nowhere")}, 2, "nowhere");
}

TEST_F(Day, ACavityThatWasPackedOtherwiseIsRefused) {
  const auto scan = [&](const test::TestBody& body, const std::string& name) {
    write_hu(scan_of(body, kDay, grid_about(kDay, {2.2, 2.2, 3.0}), 20, 7).hu, path(name));
    return path(name);
  };
  expect_refused({"transfer", "--ct", scan({.packing_hu = -1000}, "emptied.nrrd")}, 3, "it was emptied");
  expect_refused({"transfer", "--ct", scan({.packing_from_mm = -99}, "filled.nrrd")}, 2, "altered");
  expect_refused({"transfer", "--ct", scan({.packing_from_mm = 12}, "less.nrrd")}, 3,
                 "of the cavity \"packing\" is not what was planned for");
  expect_refused({"transfer", "--ct", scan({.packing_hu = -600}, "denser.nrrd")}, 3, "packed anew");
}

// The inside moved, so the plan no longer fits: a new one, with everything that people said, within a minute.
// By the clock, so nothing else may run beside it (RUN_SERIAL).
TEST_F(Day, PlanningAnewCarriesWhatPeopleSaid) {
  ASSERT_EQ(in_case({"mark", "--as", "keep-out", "--name", "seam", "--ball=13,-262,640,6"}).status, 0);
  write_hu(scan_of({.inner_shift_mm = {6, 0, 0}}, kDay, grid_about(kDay, {2.2, 2.2, 3.0}), 20, 8).hu, path("moved.nrrd"));
  expect_refused({"transfer", "--ct", path("moved.nrrd")}, 3, "--replan DIR");
  const json before = case_json();
  const Answer answer = in_case({"transfer", "--ct", path("moved.nrrd"), "--replan", path("anew"), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json anew = json::parse(test::text_of(path("anew/case.json")));
  for (const char* key : {"requests", "needles", "weights", "limits", "placement", "dossier"})
    EXPECT_EQ(anew["request"][key], before["request"][key]) << key;
  EXPECT_EQ(anew["object_id"], before["object_id"]);
  EXPECT_THAT(anew["frame"]["by"].get<std::string>(), HasSubstr("N. N., carried from plan"));
  EXPECT_TRUE(anew["approvals"].empty());
  EXPECT_EQ(anew["records"][0]["kind"], "begun");
  // Room air is read as `segment` reads it: from the CT, not from the map.
  EXPECT_DOUBLE_EQ(anew["ct"]["air_check_hu"].get<double>(), read_ct(path("moved.nrrd")).air_hu);
  for (const json& m : answer.json()["marks"]) EXPECT_EQ(m["kept"], true) << m;
  std::map<std::string, std::string> marks;
  for (const json& m : anew["marks"]) marks[m["name"]] = m["as"];
  for (const auto& [name, as] : std::map<std::string, std::string>{
           {"packing", "cavity"}, {"face", "zone"}, {"seam", "keep-out"}, {"dense-1", "keep-out"}})
    EXPECT_EQ(marks[name], as) << name;
  EXPECT_THAT(answer.json()["findings"].dump(), HasSubstr("moved against the outside"));
  EXPECT_LT(answer.json()["seconds"], 60.0);
  // The keep-out lies where its place truly lies on the day.
  const Vec3 there = true_place({13, -262, 640});
  for (const json& m : anew["marks"])
    if (m["name"] == "seam") {
      EXPECT_LT((vec(m["made_by"]["ball_lps_mm"]) - there).norm(), 1.5);
    }
  for (const json& t : answer.json()["proposal"]["tracks"]) EXPECT_EQ(t["admissible"], true);
  // The old case knows of the new one, and its plan is what it was.
  json after = case_json();
  EXPECT_EQ(after["records"].back()["kind"], "replanned");
  json without = before;
  after.erase("records"), without.erase("records");
  EXPECT_EQ(after, without);
  expect_refused({"transfer", "--ct", path("moved.nrrd"), "--replan", path("anew")}, 2, "holds a case already");
}

std::string fiducials(bool mirrored) {
  json list = json::array();
  for (const Vec3& p : {Vec3(60, -30, -100), Vec3(-60, -30, -90), Vec3(0, -55, 10),
                        Vec3(50, -40, 90), Vec3(-30, 30, 130)}) {
    const Vec3 a = kPlanned.apply(p);
    Vec3 b = kDay.apply(p);
    if (mirrored) b.x() = 2 * 53 - b.x();
    list.push_back({{"name", "F" + std::to_string(list.size() + 1)},
                    {"planning_lps_mm", {a.x(), a.y(), a.z()}},
                    {"day_lps_mm", {b.x(), b.y(), b.z()}}});
  }
  return json{{"fiducials", list}}.dump();
}

TEST_F(Day, FiducialsCarryThePlanAndMirroredOnesAreRefused) {
  const Answer answer = in_case({"transfer", "--ct", path("day.nrrd"), "--fiducials",
                                 write("fiducials.json", fiducials(false)), "--json"});
  ASSERT_EQ(answer.status, 0) << answer.err;
  EXPECT_EQ(answer.json()["registration"]["method"], "5 fiducials");
  EXPECT_LT((vec(answer.json()["tracks"][0]["tip_lps_mm"]) - true_place(planned_tip(0))).norm(),
            0.01);
  expect_refused({"transfer", "--ct", path("day.nrrd"), "--fiducials",
                  write("mirrored.json", fiducials(true))},
                 2, "mirrored");
  expect_refused({"transfer", "--ct", path("day.nrrd"), "--fiducials",
                  write("few.json", R"({"fiducials": [{"name": "F1",
    "planning_lps_mm": [13, -220, 610], "day_lps_mm": [53, -220, 610]}]})")},
                 2, "at least 4");
}

TEST_F(Day, TheCardIsOnePageAndNeedsATransfer) {
  const std::string card = path("card.pdf");
  ASSERT_EQ(in_case({"print", "--day-card", "--output", card}).status, 0);
  if (poppler::is_installed()) {
    EXPECT_THAT(poppler::info_of(card), HasSubstr("Pages:           1"));
    const std::string text = poppler::text_of(card);
    const json first = (*transfer_)["card"]["tracks"][0];
    for (const std::string& said :
         {std::string("On the day"), first["id"].get<std::string>(),
          std::string("slice ") + std::to_string(first["slice"].get<int>()),
          std::string("Anybody may stop it"), std::string("half depth")})
      EXPECT_THAT(text, HasSubstr(said));
  }
  ASSERT_EQ(in_case({"mark", "--as", "keep-out", "--name", "new", "--ball=13,-220,700,6"}).status,
            0);  // another plan now
  expect_refused({"print", "--day-card", "--output", card}, 2, "not transferred");
}

TEST_F(Day, RecordsHoldTheTakenAgainstThePlanned) {
  json said = taken("S1", 14.2);
  const Vec3 entry = true_place(planned_entry(0)), tip = true_place(planned_tip(0) + Vec3(0, 0, 3));
  said["entry_lps_mm"] = {entry.x(), entry.y(), entry.z()};
  said["tip_lps_mm"] = {tip.x(), tip.y(), tip.z()};
  const Answer answer = record(case_json()["plan"]["tracks"][0]["id"], said);
  ASSERT_EQ(answer.status, 0) << answer.err;
  const json what = answer.json()["what"];
  EXPECT_NEAR(what["held_against_plan"]["tip_mm"], 3, 0.5);
  EXPECT_GT(what["damage"]["score"], 0.0);
  EXPECT_EQ(what["crossed"][0]["material"], "wrapping");
  const Vec3 a = planned_tip(0) - planned_entry(0), b = a + Vec3(0, 0, 3);
  EXPECT_NEAR(what["held_against_plan"]["angle_deg"],
              std::atan2(a.cross(b).norm(), a.dot(b)) * 180 / 3.14159265, 0.5);
}

TEST_F(Day, ANeedleInTheScannerIsFoundAndHeldAgainstThePlan) {
  // It went in 4 mm off at the tip, in a scan that lies otherwise than both before.
  const RigidTransform there = pose({0, 1, 0.2}, 5, {40, -215, 605});
  Scan scan = scan_of({}, there, grid_about(there, {1.6, 1.6, 2.0}), 20, 9);
  const auto place = [&](const Vec3& planning) {
    return there.apply(kPlanned.inverse().apply(planning));
  };
  const Vec3 tip = planned_tip(0) + Vec3(0, 0, 4), entry = planned_entry(0);
  test::put_cylinder(scan.hu, place(entry + 0.4 * (entry - tip)), place(tip), 1.5, 1.2, 12000);
  write_hu(scan.hu, path("needle.nrrd"));
  const std::string track = case_json()["plan"]["tracks"][0]["id"];
  const Answer seen = in_case({"record", "--track", track, "--ct", path("needle.nrrd"), "--taken",
                               write("t.json", taken("S1", 14.2).dump()), "--json"});
  ASSERT_EQ(seen.status, 0) << seen.err;
  const json what = seen.json()["what"];
  EXPECT_EQ(what["position"]["seen"], "needle");
  EXPECT_LT((vec(what["planning_tip_lps_mm"]) - tip).norm(), 1.5)
      << what.dump(1) << planned_tip(0).transpose() << " " << planned_entry(0).transpose();
  EXPECT_NEAR(what["held_against_plan"]["tip_mm"], 4, 1.5);
  const Vec3 a = planned_tip(0) - entry, b = tip - entry;
  EXPECT_NEAR(what["held_against_plan"]["angle_deg"],
              std::atan2(a.cross(b).norm(), a.dot(b)) * 180 / 3.14159265, 1.0);
  EXPECT_GT(what["damage"]["score"], 0.0);
  expect_refused({"record", "--track", track, "--ct", path("day.nrrd")}, 2,
                 "neither a needle nor the channel");
}

TEST_F(Day, BadRecordsChangeNothing) {
  const std::string track = case_json()["plan"]["tracks"][0]["id"];
  const auto refuse = [&](const char* key, const json& value, const std::string& says) {
    json said = taken("S1", 14.2);
    said[key] = value;
    expect_refused({"record", "--track", track, "--taken", write("bad.json", said.dump())}, 2,
                   says);
  };
  refuse("gross_mg", -1, "gross_mg");
  refuse("needle", "darning needle", "darning needle");
  json outside = taken("S1", 14.2);
  outside["entry_lps_mm"] = {53, -300, 610}, outside["tip_lps_mm"] = {53, -220, 6100};
  expect_refused({"record", "--track", track, "--taken", write("bad.json", outside.dump())}, 2,
                 "outside the day's CT");
  expect_refused({"record", "--track", "T99", "--taken", write("bad.json", taken("S1", 1).dump())},
                 2, "no track \"T99\"");
  expect_refused({"record", "--track", track}, 2, "--taken FILE");
  ASSERT_EQ(record(track, taken("S1", 14.2)).status, 0);
  expect_refused({"record", "--track", track, "--taken", write("bad.json", taken("S1", 3).dump())},
                 2, "taken already");
}

TEST_F(Day, TamperingIsNamed) {
  const std::string track = case_json()["plan"]["tracks"][0]["id"];
  ASSERT_EQ(record(track, taken("S1", 14.2)).status, 0);
  EXPECT_THAT(in_case({"verify"}).err, Not(HasSubstr("record")));
  const auto verify_with = [&](const std::function<void(json&)>& change) {
    json tampered = case_json();
    const std::string sound = test::text_of(path("case/case.json"));
    change(tampered);
    std::ofstream(path("case/case.json")) << tampered.dump(1);
    const Answer answer = in_case({"verify"});
    std::ofstream(path("case/case.json")) << sound;
    EXPECT_EQ(answer.status, 4);
    return answer.err;
  };
  EXPECT_THAT(verify_with([](json& c) { c["records"][1]["what"]["taken"]["net_mg"] = 24.2; }),
              HasSubstr("record 2 (core): was altered"));
  EXPECT_THAT(verify_with([](json& c) { c["records"].erase(0); }), HasSubstr("record"));
  const std::string transfer = test::text_of(path("case/transfers/transfer-000001.json"));
  std::ofstream(path("case/transfers/transfer-000001.json"), std::ios::app) << " ";
  EXPECT_THAT(in_case({"verify"}).err, HasSubstr("transfer-000001.json was changed"));
  EXPECT_EQ(in_case({"print", "--day-card"}).status, 2);
  std::ofstream(path("case/transfers/transfer-000001.json")) << transfer;
  EXPECT_THAT(in_case({"verify"}).err, Not(HasSubstr("transfer")));
}

TEST_F(Day, ACtThatWasMovedIsFoundAgain) {
  fs::create_directories(path("store/far"));
  fs::rename(path("ct.nrrd"), path("store/far/renamed.nrrd"));
  const Answer found = in_case({"assess"});
  fs::rename(path("store/far/renamed.nrrd"), path("ct.nrrd"));
  EXPECT_EQ(found.status, 0) << found.err;
}

TEST_F(Day, SchemasHoldForWhatIsWritten) {
  if (!python_has("jsonschema")) GTEST_SKIP() << "python3-jsonschema is not installed";
  const std::string track = case_json()["plan"]["tracks"][0]["id"];
  ASSERT_EQ(record(track, taken("S1", 14.2)).status, 0);
  const std::string folder = LEASTHARM_SCHEMAS;
  const auto holds = [&](const std::string& schema, const std::string& file) {
    return python("import json, jsonschema; jsonschema.validate(json.load(open(\"" + file +
                  "\")), json.load(open(\"" + folder + "/" + schema + "\")))");
  };
  EXPECT_TRUE(holds("case.json", path("case/case.json")));
  EXPECT_TRUE(holds("taken.json", write("t.json", taken("S1", 14.2).dump())));
  EXPECT_TRUE(holds("taken.json", write("t.json", aborted().dump())));
  json wrong = aborted();
  wrong["sample"] = "S1";
  EXPECT_FALSE(holds("taken.json", write("t.json", wrong.dump())));
}

// Story D: what the committee must find on page one, in black and white.
TEST_F(Day, PageOneAnswersTheCommitteeInGrey) {
  if (!poppler::is_installed()) GTEST_SKIP() << "poppler-utils is not installed";
  json request = json::parse(kRequest);
  request["dossier"] = {{"question", "Which oils are in the packing?"},
                        {"why not less", "It cannot be reached from outside."},
                        {"remains", "What is left goes back into glass."},
                        {"stop rules", "Anybody may stop it."}};
  ASSERT_EQ(in_case({"propose", "--request", write("asked.json", request.dump())}).status, 0);
  ASSERT_EQ(in_case({"print", "--output", path("plan.pdf")}).status, 0);
  std::string one = poppler::text_of(path("plan.pdf"), 1, 1);
  std::ranges::replace(one, '\n', ' ');
  for (const char* said : {"Which oils are in the packing?", " mg", "How many holes?",
                           "Take nothing", "What is left goes back into glass.",
                           "Anybody may stop it.", "Who may stop it?", "may say no"})
    EXPECT_THAT(one, HasSubstr(said));
  // In grey, words stay dark on light: the page's darkest and lightest are far apart, and nothing
  // is printed pale.
  ASSERT_EQ(std::system(
                ("pdftoppm -r 40 -f 1 -l 1 -gray '" + path("plan.pdf") + "' '" + path("grey") + "'")
                    .c_str()),
            0);
  int dark = 0, light = 0;
  for (const auto& entry : fs::directory_iterator(base_->path()))
    if (entry.path().extension() == ".pgm")
      for (const unsigned char c : test::text_of(entry.path())) dark += c<100, light += c> 240;
  EXPECT_GT(dark, 1000);
  EXPECT_GT(light, 10 * dark);
}

// Story E: the whole day, and what must still be known after the program is gone.
TEST_F(Day, FromDecisionToRemainder) {
  for (const std::string role : {"radiologist", "conservator", "committee"})
    ASSERT_EQ(in_case({"approve", "--role", role, "--by", "N. N."}).status, 0);
  ASSERT_EQ(in_case({"print", "--withhold", "face"}).status, 0);
  ASSERT_EQ(in_case({"print", "--day-card"}).status, 0);
  const json tracks = case_json()["plan"]["tracks"];
  ASSERT_EQ(record(tracks[0]["id"], aborted()).status, 0);
  ASSERT_EQ(record(tracks[1]["id"], taken("S1", 14.2)).status, 0);
  const Answer used = in_case({"use", "--sample", "S1", "--mg", "10", "--for", "GC-MS", "--by",
                               "Invented laboratory", "--json"});
  ASSERT_EQ(used.status, 0) << used.err;
  EXPECT_NEAR(used.json()["left_mg"], 4.2, 1e-9);
  expect_refused(
      {"use", "--sample", "S1", "--mg", "5", "--for", "GC-MS", "--by", "Invented laboratory"}, 2,
      "4.20 mg left");
  const Answer sound = in_case({"verify"});
  EXPECT_EQ(sound.status, 0) << sound.err;

  ASSERT_EQ(in_case({"export", "--what", "samples", "--as", "csv", "--output", path("samples.csv")})
                .status,
            0);
  ASSERT_EQ(in_case({"export", "--what", "samples", "--as", "json-ld", "--output",
                     path("samples.jsonld")})
                .status,
            0);
  if (python_has("rdflib")) {
    EXPECT_TRUE(
        python("import rdflib; g = rdflib.Graph(); g.parse(\"" + path("samples.jsonld") +
               "\", format=\"json-ld\"); "
               "s = rdflib.URIRef(\"http://www.cidoc-crm.org/extensions/crmsci/S13_Sample\"); "
               "assert len(list(g.subjects(rdflib.RDF.type, s))) == 1; "
               "assert rdflib.Literal(\"4.2\", datatype=rdflib.XSD.decimal) in set(g.objects()); "
               "assert len(g) > 40"));
  }
  fs::remove_all(path("bag"));
  const Answer archived = in_case({"archive", "--output", path("bag"), "--with-ct"});
  ASSERT_EQ(archived.status, 0) << archived.err;
  EXPECT_EQ(test::bag_faults(path("bag")), "");
  const std::string guide = test::text_of(path("bag/data/READ-ME-FIRST.txt"));
  for (const char* said :
       {"INVENTED-6", "O. Example", "unexpected resistance", "sample S1, net 14.2 mg", "used 10 mg",
        "left 4.2 mg", "Invented keeper"})
    EXPECT_THAT(guide, HasSubstr(said));
  for (const char* file :
       {"case.json", "records.json", "samples.csv", "samples.jsonld", "tracks.csv",
        "materials.nrrd", "ct.nrrd", "transfers/transfer-000001.json"})
    EXPECT_TRUE(fs::exists(fs::path(path("bag/data")) / file)) << file;
  expect_refused({"archive", "--output", path("bag")}, 2, "there already");
}

}  // namespace
}  // namespace leastharm
