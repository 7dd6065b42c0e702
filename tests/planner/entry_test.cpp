#include "planner/entry.h"

#include <gtest/gtest.h>

#include <numbers>

#include "support/shape_world.h"

namespace leastharm::test {
namespace {

constexpr double kPi = std::numbers::pi;
const Vec3 kMiddle{-31.3, 12.7, 400.1};
const Vec3 kSpacing{0.7, 0.8, 1.0};

/// A block with its outer face at x = 0, body below; its frame lies at an angle to the grid.
ShapeWorld half_space(const Pose& pose, double half_mm = 26) {
  return make_world(grid_about(kMiddle, half_mm, kSpacing, oblique()), pose, [](const Vec3& p) {
    return p.x() < 0 ? Material::body : Material::air;
  });
}

Track into_block(const Pose& pose, double angle_rad, double depth_mm = 12) {
  const Vec3 inward(-std::cos(angle_rad), std::sin(angle_rad), 0);
  return track_between(pose(-8 / std::cos(angle_rad) * inward), pose(depth_mm * inward));
}

const Pose kPose{Mat3(Eigen::AngleAxisd(0.6, Vec3(1, -1, 2).normalized())), kMiddle};

TEST(Entry, IsTheFirstSurfaceTowardTheTip) {
  const ShapeWorld world = half_space(kPose);
  for (const double angle : {0.0, 0.3, 0.6}) {
    const Track track = into_block(kPose, angle);
    const auto site = find_entry(world.body(), track.entry_lps_mm, track.tip_lps_mm);
    ASSERT_TRUE(site);
    EXPECT_FALSE(site->given_inside);
    EXPECT_LT((site->point_lps_mm - kMiddle).norm(), 1.0);            // a voxel
    EXPECT_NEAR(site->angle_deg, angle * 180 / kPi, 1.0);             // a degree
    // The reported entry is found again as itself, rounded to a hundredth of a millimetre as a file may hold it.
    const Vec3 rounded = (site->point_lps_mm * 100).array().round() / 100;
    const auto again = find_entry(world.body(), rounded, track.tip_lps_mm);
    ASSERT_TRUE(again);
    EXPECT_FALSE(again->given_inside);
    EXPECT_LT((again->point_lps_mm - site->point_lps_mm).norm(), 0.02);
  }
}

TEST(Entry, InsideTheObjectIsSaidToBe) {
  const ShapeWorld world = half_space(kPose);
  const auto site = find_entry(world.body(), kPose({-6, 0, 0}), kPose({-15, 0, 0}));
  ASSERT_TRUE(site);
  EXPECT_TRUE(site->given_inside);
  EXPECT_EQ(site->point_lps_mm, kPose({-6, 0, 0}));
}

TEST(Entry, BehindTheSupportIsSaidToBe) {
  const ShapeWorld world = make_world(grid_about(kMiddle, 26, kSpacing, oblique()), kPose, [](const Vec3& p) {
    return p.x() < 0 ? Material::body : p.x() > 4 && p.x() < 9 ? Material::support : Material::air;
  });
  const auto through = find_entry(world.body(), kPose({15, 0, 0}), kPose({-10, 0, 0}));
  ASSERT_TRUE(through);
  EXPECT_TRUE(through->behind_support);
  EXPECT_NEAR(kPose.back(through->point_lps_mm).x(), 0, 1);   // the board is not the object's surface
  EXPECT_FALSE(find_entry(world.body(), kPose({3, 0, 0}), kPose({-10, 0, 0}))->behind_support);
}

TEST(Entry, IsNoneWhereTheObjectIsMissed) {
  const ShapeWorld world = half_space(kPose);
  EXPECT_FALSE(find_entry(world.body(), kPose({12, 0, 0}), kPose({3, 5, 0})));
}

TEST(EntryNormal, OfACylinderPointsFromItsAxis) {
  const ShapeWorld world = make_world(grid_about(kMiddle, 30, kSpacing, oblique()), kPose, [](const Vec3& p) {
    return std::hypot(p.x(), p.y()) < 20 ? Material::wrapping : Material::air;
  });
  for (int n = 0; n < 12; ++n) {
    const Vec3 outward(std::cos(n), std::sin(n), 0);
    const auto normal = outward_normal(world.body(), kPose(20 * outward + Vec3(0, 0, n - 6)));
    ASSERT_TRUE(normal);
    EXPECT_LT(std::acos(normal->dot(kPose.turn * outward)) * 180 / kPi, 1.5);
  }
}

TEST(EntryNormal, SmoothsAwayRoughnessOfAMillimetre) {
  const ShapeWorld rough = make_world(grid_about(kMiddle, 20, {0.5, 0.5, 0.5}, oblique()), kPose, [](const Vec3& p) {
    return p.x() < 0.8 * std::sin(3 * p.y()) * std::cos(3 * p.z()) ? Material::wrapping : Material::air;
  });
  const auto normal = outward_normal(rough.body(), kPose({0, 1.1, 0.4}));
  ASSERT_TRUE(normal);
  EXPECT_LT(std::acos(normal->dot(kPose.turn.col(0))) * 180 / kPi, 5);
}

TEST(EntryNormal, HasNoFalseSurfaceWhereTheScanEnds) {
  const Grid grid = grid_about({0, 0, 0}, 10, {1, 1, 1}, Mat3::Identity());
  const ShapeWorld world = make_world(grid, {}, [](const Vec3& p) { return p.x() < 0 ? Material::body : Material::air; });
  const auto normal = outward_normal(world.body(), {0, 0, 9});   // at the last slice; the body goes on beyond it
  ASSERT_TRUE(normal);
  EXPECT_NEAR(normal->x(), 1, 1e-6);
}

TEST(Hole, AreaGrowsAsOneOverTheCosine) {
  EXPECT_NEAR(hole_area_mm2(3, 0), kPi * 9 / 4, 1e-12);
  EXPECT_NEAR(hole_area_mm2(3, 60), 2 * kPi * 9 / 4, 1e-9);
}

TEST(Hole, InAZoneCountsByTheEllipseInsideIt) {
  const ShapeWorld world = half_space(kPose);
  Track track = into_block(kPose, 0.7);
  const auto site = find_entry(world.body(), track.entry_lps_mm, track.tip_lps_mm);
  ASSERT_TRUE(site);
  track.entry_lps_mm = site->point_lps_mm;
  const auto nodes = hole_nodes(world.body(), track, *site);
  const Vec3 middle = kPose.back(site->point_lps_mm);
  const auto share = [&](const std::function<bool(const Vec3&)>& inside) {
    const Mask zone = mask_where(world.grid, kPose, inside);
    int count = 0;
    for (const HoleNode& node : nodes) count += in_zone(zone, node) ? 1 : 0;
    return count / static_cast<double>(nodes.size());
  };
  EXPECT_NEAR(share([](const Vec3&) { return true; }), 1, 1e-12);
  EXPECT_NEAR(share([](const Vec3& p) { return p.y() > 30; }), 0, 1e-12);
  EXPECT_NEAR(share([&](const Vec3& p) { return p.z() > middle.z(); }), 0.5, 0.12);   // split along its long axis
  EXPECT_NEAR(share([&](const Vec3& p) { return p.y() > middle.y(); }), 0.5, 0.18);
}

TEST(Opening, TakesAWholeNeedleOrNone) {
  // A shaft of 10 mm width leads through the wall into a hollow.
  const ShapeWorld world = make_world(grid_about(kMiddle, 26, {0.5, 0.5, 0.7}, oblique()), kPose, [](const Vec3& p) {
    const bool shaft = std::hypot(p.y(), p.z()) < 5;
    return p.x() > 0 || (p.x() > -8 && shaft) ? Material::air : p.x() > -14 && !shaft ? Material::body : Material::packing;
  });
  const Mask gap = mask_where(world.grid, kPose, [](const Vec3& p) { return p.x() > -6 && p.x() < 1 && std::hypot(p.y(), p.z()) < 5; });
  const auto through = [&](double y) {
    Track track = track_between(kPose({12, y, 0}), kPose({-20, y, 0}));
    const auto site = find_entry(world.body(), track.entry_lps_mm, track.tip_lps_mm);
    track.entry_lps_mm = site->point_lps_mm;
    return enters_through(gap, world.body(), track, *site);
  };
  EXPECT_TRUE(through(0));
  EXPECT_TRUE(through(2.5));
  EXPECT_FALSE(through(4.5));   // one side cuts the wall
  EXPECT_FALSE(through(9));
}

TEST(Opening, MarkedOnThePlainSurfaceCountsToo) {
  const ShapeWorld world = half_space(kPose);
  const Mask ball = mask_where(world.grid, kPose, [](const Vec3& p) { return p.norm() < 6; });
  const auto through = [&](double y) {
    Track track = track_between(kPose({12, y, 0}), kPose({-20, y, 0}));
    const auto site = find_entry(world.body(), track.entry_lps_mm, track.tip_lps_mm);
    track.entry_lps_mm = site->point_lps_mm;
    return enters_through(ball, world.body(), track, *site);
  };
  EXPECT_TRUE(through(3));
  EXPECT_FALSE(through(6));
}

TEST(Shaft, AndTheHandBehindItMustHaveTheirWayFree) {
  // A block and a knob before it, its near face 140 mm away.
  const ShapeWorld world = make_world(grid_about(kMiddle, 170, {2, 2, 2.5}, oblique()), kPose, [](const Vec3& p) {
    return p.x() < 0 || (p - Vec3(150, 6, 0)).norm() < 10 ? Material::body : Material::air;
  });
  const Body body = world.body();
  const auto met = [&](double y, double usable) {
    Needle needle = sure_needle();
    needle.usable_mm = usable;
    Track track = track_between(kPose({15, y, 0}), kPose({-20, y, 0}), "", needle);
    const auto site = find_entry(body, track.entry_lps_mm, track.tip_lps_mm);
    track.entry_lps_mm = site->point_lps_mm;
    return shaft_meets_mm(body, track, *site);
  };
  ASSERT_TRUE(met(6, 150));
  EXPECT_NEAR(*met(6, 150), -140, 4);
  EXPECT_FALSE(met(6, 20 + 140 - kHandLengthMm - 5));   // shaft and hand end before the knob
  EXPECT_TRUE(met(6, 20 + 140 - kHandLengthMm + 5));
  EXPECT_TRUE(met(-12, 150));    // the shaft, 130 mm of it outside, passes beside the knob; the hand does not
  EXPECT_FALSE(met(-12, 200));   // a longer shaft holds the hand beyond the knob
  EXPECT_FALSE(met(-40, 150));   // beside shaft and hand
}

}  // namespace
}  // namespace leastharm::test
