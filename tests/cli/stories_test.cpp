// Whole stories through the command line: what people must be able to rely on, from a scan to an answer. The bodies are
// invented, and what is true of them is known.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <set>

#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "support/commands.h"
#include "support/made_body.h"
#include "support/test_body.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using test::Answer;
using test::run;
using testing::HasSubstr;

Vec3 vec(const json& j) { return {j[0].get<double>(), j[1].get<double>(), j[2].get<double>()}; }
json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }
std::string commas(const Vec3& v) {
  return std::to_string(v.x()) + "," + std::to_string(v.y()) + "," + std::to_string(v.z());
}

class Story : public testing::Test {
 protected:
  static void SetUpTestSuite() { base_ = new test::ScratchFolder(); }
  static void TearDownTestSuite() { delete base_; }
  [[nodiscard]] static std::string path(const std::string& name) { return (base_->path() / name).string(); }
  static std::string write(const std::string& name, const std::string& text) {
    std::ofstream(path(name)) << text;
    return path(name);
  }
  /// Runs a command on a case; must end well.
  [[nodiscard]] static Answer in(const std::string& name, std::vector<std::string> arguments) {
    arguments.insert(arguments.begin() + 1, {"--case", path(name)});
    return run(arguments);
  }
  static void need(const std::string& name, const std::vector<std::string>& arguments) {
    const Answer answer = in(name, arguments);
    ASSERT_EQ(answer.status, 0) << answer.err;
  }
  static test::ScratchFolder* base_;
};
test::ScratchFolder* Story::base_ = nullptr;

// ---- A: posture, side and mirror -------------------------------------------------------------------------------------

/// The body lies prone with the feet towards the gantry; the files say feet first, supine. So the scanner turned its
/// coordinates half about, and what it calls left is the body's right.
struct Prone {
  Volume<std::int16_t> hu;
  Vec3 head, front;
  std::vector<Vec3> midline;
  double mirror_x = 0;

  Prone() {
    const RigidTransform lies = test::pose({1, 0, 0}, 180, {12, -180, 640});
    const Mat3 as_told = Vec3(-1, 1, -1).asDiagonal();
    hu = test::scan_of({}, lies, test::grid_about(lies, {2.4, 2.4, 3}), 20, 31).hu;
    hu.grid.origin_lps_mm = as_told * hu.grid.origin_lps_mm;
    hu.grid.direction = as_told * hu.grid.direction;
    head = as_told * lies.rotation * Vec3(0, 0, 1);
    front = as_told * lies.rotation * Vec3(0, -1, 0);
    for (const double z : {-110.0, 0.0, 120.0}) midline.push_back(as_told * lies.apply({0, 36, z}));
    mirror_x = hu.grid.lps_from_index({(hu.grid.size[0] - 1) / 2.0, 0, 0}).x();
  }
  [[nodiscard]] Vec3 mirrored(const Vec3& p) const { return {2 * mirror_x - p.x(), p.y(), p.z()}; }
  /// The same voxels, left and right exchanged on the way.
  [[nodiscard]] Prone mirrored() const {
    Prone other = *this;
    const Grid& g = hu.grid;
    for (int k = 0; k < g.size[2]; ++k)
      for (int j = 0; j < g.size[1]; ++j) {
        const auto row = other.hu.values.begin() + static_cast<std::ptrdiff_t>(g.offset(0, j, k));
        std::reverse(row, row + g.size[0]);
      }
    for (Vec3& p : other.midline) p = mirrored(p);
    return other;
  }
  /// On which side of its own spine a core of 20 mm truly lies.
  [[nodiscard]] std::string true_side(const json& track) const {
    const Vec3 tip = vec(track["tip_lps_mm"]), entry = vec(track["entry_lps_mm"]), left = head.cross(front);
    std::set<std::string> sides;
    for (const double back_mm : {0.0, 10.0, 20.0}) {
      const Vec3 p = tip + back_mm * (entry - tip).normalized();
      const auto nearest = std::ranges::min_element(midline, {}, [&](const Vec3& m) { return std::abs((m - p).dot(head)); });
      sides.insert((p - *nearest).dot(left) > 0 ? "left" : "right");
    }
    return sides.size() == 1 ? *sides.begin() : "both";
  }
};

constexpr const char* kFourCores = R"({
  "requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "GC-MS", "uses_mg": 5}],
                "replicates": 4, "spacing_mm": 15, "sides": "both"}],
  "needles": ["core 2.4 mm bore 20 mm"], "time_s": 3})";

class StoryA : public Story {
 protected:
  /// From the scanner's files to a proposal; the sides are refused until somebody says where head and front lie.
  [[nodiscard]] static json planned(const Prone& body, const std::string& name) {
    phantom::CtSeriesOptions series;
    series.seed = name;
    series.patient_position = "FFS";
    phantom::write_ct_series(body.hu, path(name + "_ct"), series);
    EXPECT_EQ(run({"segment", path(name + "_ct"), "--case", path(name)}).status, 0);
    need(name, {"mark", "--as", "cavity", "--name", "packing", "--material", "packing"});
    const std::string request = write("request.json", kFourCores);
    const auto before = test::snapshot(path(name));
    const Answer refused = in(name, {"propose", "--request", request});
    EXPECT_EQ(refused.status, 2);
    EXPECT_THAT(refused.err, HasSubstr("leastharm orient"));
    EXPECT_TRUE(test::snapshot(path(name)) == before) << "the case changed";

    json midline = json::array();
    for (const Vec3& p : body.midline) midline.push_back(from_vec(p));
    need(name, {"orient", "--head=" + commas(body.head), "--front=" + commas(body.front), "--midline",
                write("midline.json", midline.dump()), "--by", "R. Example"});
    const Answer proposed = in(name, {"propose", "--request", request, "--json"});
    EXPECT_EQ(proposed.status, 0) << proposed.err;
    return proposed.json();
  }
};

TEST_F(StoryA, AProneBodyWithAWrongPostureTagIsSampledOnTheSidesAskedFor) {
  const Prone body;
  EXPECT_LT(body.head.cross(body.front).x(), -0.9);   // the tag would call its right side left
  const json answer = planned(body, "prone");
  int left = 0;
  ASSERT_EQ(answer["tracks"].size(), 4u);
  for (const json& t : answer["tracks"]) {
    EXPECT_EQ(t["side"], body.true_side(t)) << t["id"];
    left += t["side"] == "left";
  }
  EXPECT_EQ(left, 2);

  // A CT mirrored on its way here mirrors the answer: every core changes its side and nothing else.
  const Prone other = body.mirrored();
  const json mirrored = planned(other, "mirrored");
  ASSERT_EQ(mirrored["tracks"].size(), 4u);
  for (const json& t : mirrored["tracks"]) EXPECT_EQ(t["side"], other.true_side(t));
  EXPECT_NEAR(mirrored["programme"]["score"].get<double>() / answer["programme"]["score"].get<double>(), 1, 0.15);
  json tracks = json::array();
  for (const json& t : answer["tracks"])
    tracks.push_back({{"id", t["id"]}, {"needle", t["needle"]}, {"request", "P"},
                      {"entry_lps_mm", from_vec(body.mirrored(vec(t["entry_lps_mm"])))},
                      {"tip_lps_mm", from_vec(body.mirrored(vec(t["tip_lps_mm"])))}});
  const Answer same = in("mirrored", {"assess", "--tracks", write("tracks.json", json{{"tracks", tracks}}.dump()), "--json"});
  ASSERT_EQ(same.status, 0) << same.err;
  for (std::size_t n = 0; n < 4; ++n) {
    const json a = answer["tracks"][n], b = same.json()["tracks"][n];
    EXPECT_EQ(b["side"], a["side"] == "left" ? "right" : "left");
    EXPECT_NEAR(b["path_length_mm"], a["path_length_mm"].get<double>(), 3);
    EXPECT_NEAR(b["core"]["mass_mg"], a["core"]["mass_mg"].get<double>(), 0.1 * a["core"]["mass_mg"].get<double>());
  }
}

// ---- B: what protects itself, what an opening spares, what voids ------------------------------------------------------

constexpr const char* kOneCore = R"({
  "requests": [{"id": "P", "from": {"cavity": "packing"}, "assays": [{"name": "GC-MS", "uses_mg": 3}], "sides": "right"}],
  "needles": [{"outer_mm": 3.0, "bore_mm": 2.4, "throw_mm": 20, "usable_mm": 150}],
  "limits": {"clearance_mm": 5, "p_touch_max": 0.01}, "placement": {"placement_mm": 5, "depth_mm": 2}, "time_s": 3})";

class StoryB : public Story {
 protected:
  /// A case whose amulet lies on the other side, with its plan: copied by those who need one.
  static void SetUpTestSuite() {
    Story::SetUpTestSuite();
    begin("far", {40, -46, 260});
    shortest_ = new json(proposed("far")["tracks"][0]);
  }
  static void TearDownTestSuite() {
    delete shortest_;
    Story::TearDownTestSuite();
  }
  static void begin(const std::string& name, const Vec3& amulet_lps_mm) {
    const test::MadeBody body = test::made_body(amulet_lps_mm);
    write_hu(body.hu, path(name + ".nrrd"));
    write_labels(body.materials, path(name + "_truth.nrrd"));
    ASSERT_EQ(run({"segment", path(name + ".nrrd"), "--case", path(name), "--materials", path(name + "_truth.nrrd")}).status, 0);
    need(name, {"mark", "--as", "cavity", "--name", "packing", "--material", "packing"});
    need(name, {"orient", "--head", "0,0,1", "--front=0,-1,0", "--midline",
                write("midline.json", "[[0,34,210],[0,34,370]]"), "--by", "N. N."});
  }
  [[nodiscard]] static json proposed(const std::string& name) {
    const Answer answer = in(name, {"propose", "--request", write("request.json", kOneCore), "--json"});
    EXPECT_EQ(answer.status, 0) << answer.err;
    return answer.json();
  }
  [[nodiscard]] static json assessed(const std::string& name, const json& track) {
    const json tracks{{"tracks", {{{"id", "S"}, {"entry_lps_mm", track["entry_lps_mm"]}, {"tip_lps_mm", track["tip_lps_mm"]},
                                   {"needle", track["needle"]}, {"request", "P"}}}}};
    const Answer answer = in(name, {"assess", "--tracks", write("tracks.json", tracks.dump()), "--request",
                                    write("request.json", kOneCore), "--json"});
    EXPECT_EQ(answer.status, 0) << answer.err;
    return answer.json()["tracks"][0];
  }
  /// The plan of the far case, in a case of its own.
  static void copy_far(const std::string& name) { fs::copy(path("far"), path(name), fs::copy_options::recursive); }

  static json* shortest_;
};
json* StoryB::shortest_ = nullptr;

TEST_F(StoryB, AnUnmarkedAmuletEightMillimetresBesideTheShortestRouteIsProtectedByItself) {
  const json shortest = *shortest_;
  const Vec3 entry = vec(shortest["entry_lps_mm"]), tip = vec(shortest["tip_lps_mm"]), along = (tip - entry).normalized();
  constexpr double kRadius_mm = 5, kBeside_mm = 8;
  const Vec3 amulet = entry + 10 * along + (kRadius_mm + kBeside_mm) * along.cross(Vec3(1, 0, 0)).normalized();
  begin("near", amulet);
  const json there = assessed("near", shortest);
  const double needle_mm = 1.5, voxel_mm = 3;
  EXPECT_NEAR(there["clearance_mm"]["dense-1"], kBeside_mm - needle_mm, voxel_mm / 2);   // nobody marked it
  EXPECT_GT(there["p_touch"]["dense-1"], 0.01);
  EXPECT_EQ(there["admissible"], false);
  EXPECT_THAT(there["findings"].dump(), HasSubstr("dense-1"));

  const json other = proposed("near")["tracks"][0];
  EXPECT_GE(other["clearance_mm"]["dense-1"], 5.0);
  EXPECT_LE(other["p_touch"]["dense-1"], 0.01);
  EXPECT_GT(other["damage"]["score"], shortest["damage"]["score"].get<double>());

  // Only a named person takes the protection away, and then the way is open.
  EXPECT_EQ(in("near", {"mark", "--remove", "dense-1"}).status, 2);
  need("near", {"mark", "--waive", "dense-1", "--by", "C. Example", "--why", "a modern pin"});
  EXPECT_EQ(assessed("near", shortest)["admissible"], true);
}

TEST_F(StoryB, AnOpeningSparesTheHoleAndKeepsTheMaterialCost) {
  copy_far("open");
  const json closed = *shortest_;
  need("open", {"mark", "--as", "opening", "--name", "gap", "--ball=" + commas(vec(closed["entry_lps_mm"])) + ",8"});
  const json through = assessed("open", closed);
  EXPECT_EQ(through["through_opening"], true);
  EXPECT_GT(closed["damage"]["parts"]["hole"], 10.0);
  EXPECT_EQ(through["damage"]["parts"].value("hole", 0.0), 0.0);
  json spared = closed["damage"]["parts"];
  spared.erase("hole");
  EXPECT_FALSE(spared.empty());
  for (const auto& [part, score] : spared.items())
    EXPECT_NEAR(through["damage"]["parts"].value(part, 0.0), score.get<double>(), 1e-9) << part;
  EXPECT_EQ(through["clearance_mm"], closed["clearance_mm"]);
}

TEST_F(StoryB, AMarkMovedByOneMillimetreVoidsApprovals) {
  copy_far("moved");
  need("moved", {"mark", "--as", "keep-out", "--name", "seam", "--ball=-20,-40,330,6"});
  need("moved", {"print"});
  for (const std::string role : {"radiologist", "conservator", "committee"})
    need("moved", {"approve", "--role", role, "--by", "N. N."});
  need("moved", {"verify"});
  need("moved", {"mark", "--as", "keep-out", "--name", "seam", "--ball=-19,-40,330,6"});
  const Answer after = in("moved", {"verify", "--json"});
  EXPECT_EQ(after.status, 4);
  const std::vector<std::string> failures = after.json()["failures"];
  for (const std::string role : {"radiologist", "conservator", "committee"})
    EXPECT_THAT(failures, testing::Contains("approval of " + role + ": void, because changed since: marks"));
  EXPECT_THAT(failures, testing::Contains(HasSubstr("shows another state of the plan")));
}

}  // namespace
}  // namespace leastharm
