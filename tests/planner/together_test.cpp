#include "planner/together.h"

#include <gtest/gtest.h>

#include <numbers>

#include "planner/assessor.h"
#include "support/shape_world.h"

namespace leastharm::test {
namespace {

constexpr double kPi = std::numbers::pi;
const Vec3 kMiddle{-31.3, 12.7, 400.1};
const Pose kPose{oblique(), kMiddle};

/// A block of packing under 6 mm of wrapping, its face at x = 0, with a midline at y = 0.
ShapeWorld block() {
  ShapeWorld world = make_world(grid_about(kMiddle, 50, {0.8, 0.8, 1}, oblique()), kPose, [](const Vec3& p) {
    return p.x() > 0 ? Material::air : p.x() > -6 ? Material::wrapping : Material::packing;
  });
  world.scan = {20, 10, 68};
  return world;
}

RequestFile asking(int replicates = 2) {
  RequestFile file;
  Request request;
  request.id = "P";
  request.material = Material::packing;
  request.assays = {{"GC-MS", 5}};
  request.replicates = replicates;
  file.requests = {request};
  file.limits.tilt_deg = 90;
  file.limits.p_enough_min = 0;
  return file;
}

Track straight_in(const std::string& id, double y, double z = 0, double lean = 0) {
  return track_between(kPose({12, y - 12 * lean, z}), kPose({-35, y + 35 * lean, z}), "P", sure_needle(), id);
}

bool has(const std::vector<Finding>& findings, const std::string& text) {
  for (const Finding& f : findings)
    if (f.level == Level::refused && f.what.find(text) != std::string::npos) return true;
  return false;
}

/// Area of the union of two circles of radius r at a distance d: closed form.
double union_area(double r, double d) {
  if (d >= 2 * r) return 2 * kPi * r * r;
  const double lens = 2 * r * r * std::acos(d / (2 * r)) - d / 2 * std::sqrt(4 * r * r - d * d);
  return 2 * kPi * r * r - lens;
}

TEST(SharedHoles, OfOverlappingCirclesAreTheirUnion) {
  const ShapeWorld world = block();
  const Body body = world.body();
  const Assessor assessor(body, asking());
  for (const double d : {0.0, 0.8, 1.5, 2.4, 3.5}) {
    const auto all = assessor.assess({straight_in("A", 0), straight_in("B", d)});
    EXPECT_EQ(all.programme.holes, d < 3 ? 1 : 2) << d;
    EXPECT_NEAR(all.programme.hole_mm2 / union_area(1.5, d), 1, 0.02) << d;
    double parts = 0, holes = 0;
    for (const auto& a : all.tracks)
      for (const auto& [name, value] : a.damage.parts) (name == "hole" ? holes : parts) += value;
    EXPECT_NEAR(all.programme.score, parts + asking().weights.hole_mm * all.programme.hole_mm2, 1e-6) << d;
    EXPECT_LE(all.programme.score, parts + holes + 1e-9);
  }
}

TEST(SharedHoles, JoinAlongAChain) {
  const ShapeWorld world = block();
  const Body body = world.body();
  const auto all = Assessor(body, asking(4)).assess({straight_in("A", 0), straight_in("B", 4.4), straight_in("C", 2.2), straight_in("D", 30)});
  EXPECT_EQ(all.programme.holes, 2);
}

TEST(Together, SpacingIsBetweenAnyTwoPointsOfTheCores) {
  const ShapeWorld world = block();
  const Body body = world.body();
  RequestFile file = asking();
  file.limits.hole_spacing_mm = 0;
  const Assessor assessor(body, file);
  const auto near = assessor.assess({straight_in("A", 0), straight_in("B", 14.5)});
  EXPECT_TRUE(has(near.programme.findings, "spacing"));
  EXPECT_TRUE(has(near.tracks[0].findings, "spacing"));
  EXPECT_FALSE(near.tracks[1].admissible);
  const auto apart = assessor.assess({straight_in("A", 0), straight_in("B", 15.5)});
  EXPECT_TRUE(apart.programme.findings.empty());
  EXPECT_TRUE(apart.tracks[0].admissible && apart.tracks[1].admissible);
}

TEST(Together, HolesKeepTheirDistanceOrAreOne) {
  const ShapeWorld world = block();
  const Body body = world.body();
  RequestFile file = asking();
  file.requests[0].spacing_mm = 0;
  const Assessor assessor(body, file);
  EXPECT_TRUE(has(assessor.assess({straight_in("A", 0), straight_in("B", 18)}).programme.findings, "holes are"));
  EXPECT_FALSE(has(assessor.assess({straight_in("A", 0), straight_in("B", 22)}).programme.findings, "holes are"));
  EXPECT_FALSE(has(assessor.assess({straight_in("A", 0, 0, -0.15), straight_in("B", 0, 0, 0.15)}).programme.findings, "holes are"));
}

TEST(Together, AFanMayOpenTwentyDegrees) {
  const ShapeWorld world = block();
  const Body body = world.body();
  RequestFile file = asking();
  file.requests[0].spacing_mm = 0;
  const Assessor assessor(body, file);
  const auto fan = [&](double half_deg) {
    const double lean = std::tan(half_deg * kPi / 180);
    return assessor.assess({straight_in("A", 0, 0, -lean), straight_in("B", 0, 0, lean)}).programme.findings;
  };
  EXPECT_FALSE(has(fan(9.5), "axes differ"));
  EXPECT_TRUE(has(fan(10.5), "axes differ"));
}

TEST(Together, NoCoreMayMeetAnothersNeedle) {
  const ShapeWorld world = block();
  const Body body = world.body();
  RequestFile file = asking();
  file.requests[0].spacing_mm = 0;
  file.limits.hole_spacing_mm = 0;
  const Assessor assessor(body, file);
  EXPECT_TRUE(has(assessor.assess({straight_in("A", 0), straight_in("B", 2.5)}).programme.findings, "meets the needle"));
  EXPECT_FALSE(has(assessor.assess({straight_in("A", 0), straight_in("B", 2.9)}).programme.findings, "meets the needle"));
}

TEST(Together, BothSidesDifferByAtMostOne) {
  ShapeWorld world = block();
  BodyFrame frame;
  frame.head = kPose.turn.col(2);
  frame.front = kPose.turn.col(0);
  frame.midline_lps_mm = {kPose(Vec3(-20, 0, -50)), kPose(Vec3(-20, 0, 50))};
  world.frame = frame;
  const Body body = world.body();
  RequestFile file = asking(3);
  file.requests[0].sides = Sides::both;
  const Assessor assessor(body, file);
  EXPECT_TRUE(has(assessor.assess({straight_in("A", 22), straight_in("B", 22, 25), straight_in("C", 22, -25)}).programme.findings, "both sides"));
  EXPECT_FALSE(has(assessor.assess({straight_in("A", 22), straight_in("B", 22, 25), straight_in("C", -22, -25)}).programme.findings, "both sides"));
  EXPECT_TRUE(has(assessor.assess({straight_in("A", 22), straight_in("B", 2, 25), straight_in("C", -22, -25)}).tracks[1].findings, "midline"));
}

TEST(Together, APooledNeedIsOfTheSum) {
  const ShapeWorld world = block();
  const Body body = world.body();
  RequestFile file = asking();
  file.requests[0].assays = {{"14C", 25}};
  file.requests[0].pooled = true;
  const Assessor assessor(body, file);
  const auto two = assessor.assess({straight_in("A", 0), straight_in("B", 25)});
  EXPECT_GT(*two.tracks[0].core.p_enough, 0.95);   // 16 mg each
  EXPECT_EQ(*two.tracks[0].core.p_enough, *two.tracks[1].core.p_enough);
  EXPECT_LT(*assessor.assess({straight_in("A", 0)}).tracks[0].core.p_enough, 0.01);
  EXPECT_NEAR(two.programme.mass_mg, two.tracks[0].core.mass_mg + two.tracks[1].core.mass_mg, 0.3);
  // What is shared (offset, composition) does not average out: wider than two independent cores.
  const auto spread = [](const auto& m) { return m.mass_mg_p95 - m.mass_mg_p05; };
  EXPECT_GT(spread(two.programme), 1.5 * spread(two.tracks[0].core));
}

}  // namespace
}  // namespace leastharm::test
