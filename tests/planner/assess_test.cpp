#include "planner/assess.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numbers>

#include "imaging/error.h"
#include "planner/assessor.h"
#include "planner/density.h"
#include "support/shape_world.h"

namespace leastharm::test {
namespace {

using testing::HasSubstr;

constexpr double kPi = std::numbers::pi;
const Vec3 kMiddle{-31.3, 12.7, 400.1};
constexpr std::size_t index_of(Material m) { return static_cast<std::size_t>(m); }

/// A wrapped trunk, upright along z, its own frame: wrapping out to 40 mm, body to 34, a hollow to 28 that is filled with
/// packing; an amulet on the left under the wrapping; a board behind (y > 40).
Material trunk(const Vec3& p) {
  const double r = std::hypot(p.x(), p.y());
  if ((p - Vec3(31, -14, 0)).norm() < 3) return Material::dense;
  if (r < 28) return Material::packing;
  if (r < 34) return Material::body;
  if (r < 40) return Material::wrapping;
  return p.y() > 41 && p.y() < 46 ? Material::support : Material::air;
}

ShapeWorld trunk_world(const Pose& pose, const Vec3& spacing_mm = {0.8, 0.9, 1.1}, const Mat3& direction = oblique()) {
  PerMaterial<std::int16_t> hu = kUsualHu;
  hu[index_of(Material::packing)] = -765;
  ShapeWorld world = make_world(grid_about(pose.at, 52, spacing_mm, direction), pose, trunk, hu);
  world.marks.push_back(mark_where(world, pose, MarkKind::keep_out, "dense-1", [](const Vec3& p) { return (p - Vec3(31, -14, 0)).norm() < 3; }));
  world.marks.push_back(mark_where(world, pose, MarkKind::cavity, "chest", [](const Vec3& p) { return std::hypot(p.x(), p.y()) < 28; }));
  world.scan = {20, 10, 68};
  BodyFrame frame;
  frame.head = pose.turn * Vec3(0, 0, 1);
  frame.front = pose.turn * Vec3(0, -1, 0);
  frame.midline_lps_mm = {pose(Vec3(0, 20, -60)), pose(Vec3(0, 20, 60))};
  world.frame = frame;
  return world;
}

const Pose kPose{Mat3(Eigen::AngleAxisd(0.3, Vec3(1, 0, 1).normalized())), kMiddle};

RequestFile one_request() {
  RequestFile file;
  Request request;
  request.id = "P";
  request.cavity = "chest";
  request.assays = {{"GC-MS", 10}};
  file.requests = {request};
  file.limits.p_enough_min = 0;
  file.limits.tilt_deg = 90;
  file.limits.p_touch_max = 1;
  return file;
}

/// From the front on the left, squarely in.
Track usual_track(const Pose& pose = kPose) { return track_between(pose({12, -60, 10}), pose({12, 5, 10}), "P"); }

bool refused_for(const TrackAssessment& a, const std::string& text) {
  for (const Finding& f : a.findings)
    if (f.level == Level::refused && f.what.find(text) != std::string::npos) return true;
  return false;
}

TEST(Assess, GivesCrossingsFromTheEntryToTheTip) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const auto a = Assessor(body, one_request()).assess_exact(usual_track());
  EXPECT_TRUE(a.admissible) << (a.findings.empty() ? "" : a.findings[0].what);
  ASSERT_EQ(a.crossings.size(), 3u);
  EXPECT_EQ(a.crossings[0].material, Material::wrapping);
  EXPECT_EQ(a.crossings[1].material, Material::body);
  EXPECT_EQ(a.crossings[2].material, Material::packing);
  EXPECT_EQ(a.crossings[0].from_mm, 0);
  EXPECT_NEAR(a.crossings[2].to_mm, a.path_length_mm, 1e-9);
  const auto depth_of = [](double r) { return std::sqrt(1600 - 144.0) - std::sqrt(r * r - 144.0); };
  EXPECT_NEAR(a.crossings[0].to_mm, depth_of(34), 1.5);
  EXPECT_NEAR(a.crossings[1].to_mm, depth_of(28), 1.5);
  EXPECT_NEAR(a.entry_angle_deg, std::asin(12.0 / 40) * 180 / kPi, 1.5);
  EXPECT_EQ(a.side, "left");
  EXPECT_NEAR(a.hole_area_mm2, kPi * 9 / 4 / std::cos(std::asin(0.3)), 0.1);
}

TEST(Assess, SaysWhatPackingIsWeighedAsWhereThatIsInDoubt) {
  const auto notes = [](std::int16_t hu, Filling filling) {
    ShapeWorld world = trunk_world(kPose);
    for (std::size_t n = 0; n < world.hu.size(); ++n)
      if (world.materials[n] == index_of(Material::packing)) world.hu[n] = hu;
    const Body body = world.body();
    RequestFile file = one_request();
    file.requests[0].filling = filling;
    std::string text;
    for (const Finding& f : Assessor(body, file).assess_exact(usual_track()).findings) text += f.what + "\n";
    return text;
  };
  EXPECT_EQ(notes(-765, Filling::not_stated), "");
  EXPECT_THAT(notes(600, Filling::not_stated), HasSubstr("100 % of the packing in the core reads above -250 HU"));
  EXPECT_EQ(notes(600, Filling::sand), "");
  EXPECT_THAT(notes(-765, Filling::sand), HasSubstr("weighed as sand, the packing in the core has 0.21 g/cm3"));
  EXPECT_THAT(notes(900, Filling::plant_fibre), HasSubstr("such a filling lies between 0 and 1.5 g/cm3"));
}

TEST(Assess, TiltIsOutOfTheScannersSlices) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const Assessor assessor(body, one_request());
  const Vec3 axis = axis_of(usual_track());
  const double expected = std::asin(std::abs(axis.dot(world.grid.direction.col(2)))) * 180 / kPi;
  EXPECT_NEAR(assessor.assess_exact(usual_track()).tilt_deg, expected, 1e-9);
}

TEST(Assess, ScoreIsTheSumOfItsPartsUnderTheWeights) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  RequestFile file = one_request();
  file.weights.material = {0, 0.3, 1, 0.1, 4, 0.5, 20, 0};
  file.weights.hole_mm = 2.5;
  const auto a = Assessor(body, file).assess_exact(usual_track());
  double sum = 0;
  for (const auto& [name, value] : a.damage.parts) sum += value;
  EXPECT_DOUBLE_EQ(a.damage.score, sum);
  const auto part = [&](const std::string& name) {
    for (const auto& [known, value] : a.damage.parts)
      if (known == name) return value;
    return 0.0;
  };
  EXPECT_NEAR(part("wrapping"), 0.3 * a.swept_mm3[index_of(Material::wrapping)], 1e-9);
  EXPECT_NEAR(part("body"), a.swept_mm3[index_of(Material::body)], 1e-9);
  EXPECT_NEAR(part("packing"), 0.1 * a.swept_mm3[index_of(Material::packing)], 1e-9);
  EXPECT_NEAR(part("hole"), 2.5 * a.hole_area_mm2, 1e-9);
  // The swept volumes are the crossings' lengths times the disc, but for the curved borders.
  EXPECT_NEAR(a.swept_mm3[index_of(Material::body)] / ((a.crossings[1].to_mm - a.crossings[1].from_mm) * kPi * 2.25), 1, 0.1);
}

TEST(Assess, EachBrokenLimitIsARefusalThatSaysByHowMuch) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  RequestFile file = one_request();
  file.limits.entry_angle_deg = 10;
  EXPECT_TRUE(refused_for(Assessor(body, file).assess_exact(usual_track()), "entry angle"));
  file = one_request();
  file.limits.clearance_mm = 25;
  EXPECT_TRUE(refused_for(Assessor(body, file).assess_exact(usual_track()), "clearance to dense-1"));
  file = one_request();
  file.limits.tilt_deg = 0.5;
  EXPECT_TRUE(refused_for(Assessor(body, file).assess_exact(usual_track()), "tilt"));
  file = one_request();
  file.limits.margin_mm = 12;
  EXPECT_TRUE(refused_for(Assessor(body, file).assess_exact(usual_track()), "margin"));
  file = one_request();
  file.requests[0].sides = Sides::right;
  EXPECT_TRUE(refused_for(Assessor(body, file).assess_exact(usual_track()), "side"));
  Track track = usual_track();
  track.needle.usable_mm = 30;
  EXPECT_TRUE(refused_for(Assessor(body, one_request()).assess_exact(track), "length in the object"));
  track = usual_track();
  track.needle.dead_tip_mm = 90;
  const auto through = Assessor(body, one_request()).assess_exact(track);
  EXPECT_TRUE(refused_for(through, "meets the support"));   // the dead tip comes out behind
  EXPECT_FALSE(through.admissible);
  const auto inside = Assessor(body, one_request()).assess_exact(track_between(kPose({12, -20, 10}), kPose({12, 5, 10}), "P"));
  EXPECT_TRUE(refused_for(inside, "inside the object"));
  EXPECT_EQ(inside.track.entry_lps_mm, kPose({12, -20, 10}));
  EXPECT_TRUE(refused_for(Assessor(body, one_request()).assess_exact(track_between(kPose({5, 60, 10}), kPose({5, 5, 10}), "P")), "support"));
}

TEST(Assess, BoneIsAllowedOnlyAsFarAsTheLimitSays) {
  ShapeWorld world = make_world(grid_about(kMiddle, 30, {0.8, 0.8, 0.8}, oblique()), {oblique(), kMiddle}, [](const Vec3& p) {
    return p.x() > 0 ? Material::air : p.x() > -4 ? Material::bone : Material::packing;
  });
  const Body body = world.body();
  RequestFile file;
  file.limits.tilt_deg = 90;
  const Track track = track_between(Pose{oblique(), kMiddle}({10, 0, 0}), Pose{oblique(), kMiddle}({-24, 0, 0}));
  const auto strict = Assessor(body, file).assess_exact(track);
  EXPECT_TRUE(refused_for(strict, "path in bone"));
  file.limits.bone_mm = 5;
  EXPECT_TRUE(Assessor(body, file).assess_exact(track).admissible);
}

TEST(Assess, ChanceLimitsAreCheckedOnTheAnswer) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  RequestFile file = one_request();
  file.requests[0].assays = {{"14C", 40}};   // a core of 16 mg cannot
  file.limits.p_enough_min = 0.9;
  const auto a = Assessor(body, file).assess_track(usual_track());
  ASSERT_TRUE(a.core.p_enough);
  EXPECT_LT(*a.core.p_enough, 0.01);
  EXPECT_TRUE(refused_for(a, "40 mg"));
  file.limits.p_touch_max = 0.001;
  file.placement.placement_mm = 8;
  const auto near = Assessor(body, file).assess_track(track_between(kPose({24, -60, 0}), kPose({20, 5, 0}), "P"));
  EXPECT_GT(near.p_touch.at("dense-1"), 0.05);
  EXPECT_TRUE(refused_for(near, "chance to touch dense-1"));
}

TEST(Assess, WithoutARequestCountsPackingAndResin) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  Track track = usual_track();
  track.request.clear();
  const auto a = Assessor(body, one_request()).assess_track(track);
  EXPECT_FALSE(a.core.p_enough);
  EXPECT_GT(a.core.mass_mg, 10);
  EXPECT_TRUE(to_json(a).at("core").at("p_enough").is_null());
}

TEST(Assess, ForeignMaterialOverATenthIsSaid) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const auto noted = [&](double tip_y) {
    const auto a = Assessor(body, one_request()).assess_exact(track_between(kPose({12, -60, 10}), kPose({12, tip_y, 10}), "P"));
    for (const Finding& f : a.findings)
      if (f.what.find("foreign material") != std::string::npos) return true;
    return false;
  };
  EXPECT_TRUE(noted(-15));
  EXPECT_FALSE(noted(5));
}

TEST(Assess, RefusesWhatCannotBeMeant) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const auto message = [&](const RequestFile& file, const std::vector<Track>& tracks, bool with_frame = true) -> std::string {
    Body b = body;
    if (!with_frame) b.frame.reset();
    try {
      (void)assess(b, file, tracks);
    } catch (const BadInput& error) {
      return error.what();
    }
    return "";
  };
  Track track = usual_track();
  track.request = "Q";
  EXPECT_THAT(message(one_request(), {track}), HasSubstr("\"Q\""));
  track = usual_track();
  track.tip_lps_mm = track.entry_lps_mm;
  EXPECT_THAT(message(one_request(), {track}), HasSubstr("coincide"));
  track.tip_lps_mm.x() = std::nan("");
  EXPECT_THAT(message(one_request(), {track}), HasSubstr("no number"));
  EXPECT_THAT(message(one_request(), {track_between(kPose({60, -60, 0}), kPose({60, 60, 0}))}), HasSubstr("misses the object"));
  RequestFile file = one_request();
  file.requests[0].cavity = "chets";
  EXPECT_THAT(message(file, {usual_track()}), HasSubstr("chest"));
  file = one_request();
  file.requests[0].sides = Sides::both;
  EXPECT_THAT(message(file, {usual_track()}, false), HasSubstr("leastharm orient"));
  EXPECT_THAT(message(one_request(), {usual_track(), usual_track()}), HasSubstr("T1"));
  EXPECT_EQ(message(one_request(), {usual_track()}, false), "");
}

TEST(Assess, SaysScannerSideBeforeTheFrameIsConfirmed) {
  ShapeWorld world = trunk_world({Mat3::Identity(), kMiddle}, {0.9, 0.9, 0.9}, Mat3::Identity());
  world.frame.reset();
  const Body body = world.body();
  const Pose pose{Mat3::Identity(), kMiddle};
  EXPECT_EQ(Assessor(body, one_request()).assess_exact(usual_track(pose)).side, "scanner left");
  EXPECT_EQ(Assessor(body, one_request()).assess_exact(track_between(pose({-12, -60, 10}), pose({-12, 5, 10}))).side, "scanner right");
  EXPECT_EQ(Assessor(body, one_request()).assess_exact(track_between(pose({2, -60, 10}), pose({2, 5, 10}))).side, "scanner midline");
}

TEST(Assess, ReportedTracksAssessToTheSame) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const Assessor assessor(body, one_request());
  const auto first = assessor.assess_track(usual_track());
  const auto again = assessor.assess_track(first.track);
  EXPECT_NEAR(again.path_length_mm, first.path_length_mm, 1e-6);
  EXPECT_NEAR(again.damage.score, first.damage.score, 1e-6);
  EXPECT_NEAR(again.core.mass_mg, first.core.mass_mg, 1e-3);
  EXPECT_EQ(again.admissible, first.admissible);
}

/// What a rigid move or a mirror must leave as it was.
void expect_same(const TrackAssessment& a, const TrackAssessment& b, double relative) {
  EXPECT_NEAR(b.path_length_mm, a.path_length_mm, 1e-6);
  EXPECT_NEAR(b.entry_angle_deg, a.entry_angle_deg, 1e-6);
  EXPECT_NEAR(b.damage.score / a.damage.score, 1, relative);
  for (std::size_t m = 1; m < kMaterialCount; ++m) EXPECT_NEAR(b.swept_mm3[m], a.swept_mm3[m], 0.2 * relative * 300);
  EXPECT_NEAR(b.clearance_mm.at("dense-1"), a.clearance_mm.at("dense-1"), 1e-4);
  EXPECT_NEAR(b.core.mass_mg / a.core.mass_mg, 1, 0.01);
  EXPECT_NEAR(b.core.mass_mg_p05 / a.core.mass_mg_p05, 1, 0.03);
  EXPECT_NEAR(*b.core.p_enough, *a.core.p_enough, 0.03);
  EXPECT_NEAR(b.p_reach, a.p_reach, 0.01);
  EXPECT_NEAR(b.p_touch.at("dense-1"), a.p_touch.at("dense-1"), 0.02 * a.p_touch.at("dense-1") + 1e-6);
}

TEST(AssessLaw, ARigidMoveOfTheWorldChangesNothing) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const auto here = Assessor(body, one_request()).assess_track(usual_track());
  // The same voxels in another place: only the grid moves, and the track with it.
  const Mat3 turn(Eigen::AngleAxisd(1.1, Vec3(2, -1, 1).normalized()));
  const Vec3 shift(500, -200, 40);
  ShapeWorld moved = world;
  moved.grid.origin_lps_mm = turn * world.grid.origin_lps_mm + shift;
  moved.grid.direction = turn * world.grid.direction;
  for (Mark& mark : moved.marks) mark.mask.grid = moved.grid;
  moved.frame->head = turn * moved.frame->head;
  moved.frame->front = turn * moved.frame->front;
  for (Vec3& p : moved.frame->midline_lps_mm) p = turn * p + shift;
  Track track = usual_track();
  track.entry_lps_mm = turn * track.entry_lps_mm + shift;
  track.tip_lps_mm = turn * track.tip_lps_mm + shift;
  const Body moved_body = moved.body();
  const auto there = Assessor(moved_body, one_request()).assess_track(track);
  expect_same(here, there, 2e-3);
  EXPECT_EQ(here.side, there.side);
}

TEST(AssessLaw, AMirrorSwapsTheSidesAndNothingElse) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  const auto here = Assessor(body, one_request()).assess_track(usual_track());
  const Mat3 mirror = Vec3(-1, 1, 1).asDiagonal();
  ShapeWorld other = world;
  other.grid.origin_lps_mm = mirror * world.grid.origin_lps_mm;
  other.grid.direction = mirror * world.grid.direction;
  for (Mark& mark : other.marks) mark.mask.grid = other.grid;
  other.frame->head = mirror * other.frame->head;
  other.frame->front = mirror * other.frame->front;
  for (Vec3& p : other.frame->midline_lps_mm) p = mirror * p;
  Track track = usual_track();
  track.entry_lps_mm = mirror * track.entry_lps_mm;
  track.tip_lps_mm = mirror * track.tip_lps_mm;
  const Body other_body = other.body();
  const auto there = Assessor(other_body, one_request()).assess_track(track);
  expect_same(here, there, 2e-3);
  EXPECT_EQ(here.side, "left");
  EXPECT_EQ(there.side, "right");
}

TEST(AssessLaw, TheAnswerHangsNeitherOnThreadsNorOnCompany) {
  const ShapeWorld world = trunk_world(kPose);
  const Body body = world.body();
  Track second = usual_track();
  second.id = "T2";
  second.entry_lps_mm = kPose({-12, -60, -20});
  second.tip_lps_mm = kPose({-12, 5, -20});
  const Assessor assessor(body, one_request());
  const auto pair = assessor.assess({usual_track(), second});
  const auto alone = assessor.assess({second});
  EXPECT_EQ(pair.tracks[1].core.mass_mg, alone.tracks[0].core.mass_mg);
  EXPECT_EQ(*pair.tracks[1].core.p_enough, *alone.tracks[0].core.p_enough);
  EXPECT_EQ(to_json(pair).dump(), to_json(assessor.assess({usual_track(), second})).dump());
}

TEST(AssessLaw, RefiningTheGridConvergesOnTheBody) {
  // Closed form of the swept wrapping and body: mean length of the lines through two concentric shells.
  const auto shell = [](double outer, double inner) {
    double sum = 0;
    constexpr int kSide = 400;
    int count = 0;
    for (int i = 0; i < kSide; ++i)
      for (int j = 0; j < kSide; ++j) {
        const double x = 3.0 * (i + 0.5) / kSide - 1.5, y = 3.0 * (j + 0.5) / kSide - 1.5;
        if (std::hypot(x, y) > 1.5) continue;
        ++count;
        sum += std::sqrt(outer * outer - (12 + x) * (12 + x)) - std::sqrt(inner * inner - (12 + x) * (12 + x));
      }
    return kPi * 2.25 * sum / count;
  };
  double last = 1;
  for (const double size : {1.6, 0.8}) {
    const ShapeWorld world = trunk_world(kPose, {size, size, size});
  const Body body = world.body();
    const auto a = Assessor(body, one_request()).assess_exact(usual_track());
    const double error = std::abs(a.swept_mm3[index_of(Material::wrapping)] / shell(40, 34) - 1) +
                         std::abs(a.swept_mm3[index_of(Material::body)] / shell(34, 28) - 1);
    EXPECT_LT(error, last);
    last = error;
  }
  EXPECT_LT(last, 0.06);
}

}  // namespace
}  // namespace leastharm::test
