#include "planner/clearance.h"

#include <gtest/gtest.h>

#include <random>

#include "support/shape_world.h"

namespace leastharm::test {
namespace {

const Vec3 kMiddle{-31.3, 12.7, 400.1};
const Vec3 kSpacing{0.7, 0.8, 1.1};

/// Distance from the ball's surface to the flat-ended cylinder: the closed form.
double ball_clearance(const Cylinder& needle, const Vec3& centre, double radius_mm) {
  return needle.signed_distance_mm(centre) - radius_mm;
}

TEST(CylinderDistance, IsThatOfAFlatEndedCylinder) {
  const Cylinder c{{0, 0, 0}, Vec3::UnitZ(), 10, 1.5};
  EXPECT_DOUBLE_EQ(c.signed_distance_mm({4.5, 0, 5}), 3);
  EXPECT_DOUBLE_EQ(c.signed_distance_mm({0, 1, 13}), 3);
  EXPECT_DOUBLE_EQ(c.signed_distance_mm({4.5, 0, -4}), 5);      // over the rim: 3-4-5
  EXPECT_DOUBLE_EQ(c.signed_distance_mm({0, 0, 5}), -1.5);
  EXPECT_DOUBLE_EQ(c.signed_distance_mm({0, 0, 9.5}), -0.5);
}

TEST(Clearance, ToABallIsWithinHalfAVoxel) {
  const double half_voxel = kSpacing.maxCoeff() / 2;
  const Grid grid = grid_about(kMiddle, 30, kSpacing, oblique());
  std::mt19937 random(11);
  std::uniform_real_distribution<double> place(-1, 1);
  for (int b = 0; b < 6; ++b) {
    const Vec3 centre = kMiddle + 6 * Vec3(place(random), place(random), place(random));
    const double radius = 5 + 4 * std::abs(place(random));
    const Mask mask = mask_where(grid, {}, [&](const Vec3& p) { return (p - centre).norm() <= radius; });
    const KeepOut ball("ball", mask);
    for (int n = 0; n < 60; ++n) {
      const Vec3 axis = Vec3(place(random), place(random), place(random)).normalized();
      const Vec3 start = kMiddle + 28 * Vec3(place(random), place(random), place(random));
      const Cylinder needle{start, axis, 5 + 25 * std::abs(place(random)), 1.5};
      const double expected = ball_clearance(needle, centre, radius);
      if (expected < -1.4) continue;   // deeper than the radius the axis itself is inside; see below
      EXPECT_NEAR(clearance_mm(ball, needle), expected, half_voxel);
    }
  }
}

// The worst case for voxels is a flat border: a wall at any angle to the grid.
TEST(Clearance, ToAWallIsWithinHalfAVoxelWhateverItsDirection) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> place(-1, 1);
  const Mat3 axes = oblique();
  const Grid grid = grid_about(kMiddle, 16, {1, 1, 1}, axes);
  for (int n = 0; n < 24; ++n) {
    const Vec3 outward = n < 3 ? Vec3(axes.col(n)) : n == 3 ? Vec3(axes * Vec3(1, 1, 1).normalized())
                                                           : Vec3(place(random), place(random), place(random)).normalized();
    const double shift = 0.5 * place(random);
    const Mask mask = mask_where(grid, {}, [&](const Vec3& p) { return (p - kMiddle).dot(outward) <= shift - 4; });
    const KeepOut wall("wall", mask);
    const Vec3 along = outward.unitOrthogonal();
    const Cylinder beside{kMiddle - 6 * along + (4 + shift) * outward, along, 12, 1.5};   // runs along the wall
    EXPECT_NEAR(clearance_mm(wall, beside), 8 - 1.5, 0.5) << n;
    const Cylinder toward{kMiddle + 8 * outward, -outward, 6, 1.5};                       // ends before it, flat
    EXPECT_NEAR(clearance_mm(wall, toward), 2 - shift + 4, 0.5) << n;
  }
}

TEST(Clearance, OfATangentNeedleIsZero) {
  const Grid grid = grid_about({0, 0, 0}, 20, {1, 1, 1}, Mat3::Identity());
  const Mask mask = mask_where(grid, {}, [](const Vec3& p) { return p.x() < -5; });   // border on a voxel face
  EXPECT_NEAR(clearance_mm(KeepOut("wall", mask), {{-3.5, 0.5, -8}, Vec3::UnitZ(), 16, 1.5}), 0, 1e-4);
}

TEST(Clearance, CountsTheDeadTip) {
  const Grid grid = grid_about({0, 0, 0}, 30, {0.5, 0.5, 0.5}, Mat3::Identity());
  const Mask mask = mask_where(grid, {}, [](const Vec3& p) { return p.z() > 10; });
  const KeepOut wall("wall", mask);
  Track track = track_between({0, 0, -20}, {0, 0, 2});
  EXPECT_NEAR(clearance_mm(wall, outer_cylinder(track)), 8, 0.25);
  track.needle.dead_tip_mm = 6;
  EXPECT_NEAR(clearance_mm(wall, outer_cylinder(track)), 2, 0.25);
}

TEST(Clearance, IsNegativeInside) {
  const Grid grid = grid_about(kMiddle, 24, {0.6, 0.6, 0.9}, oblique());
  const Mask mask = mask_where(grid, {}, [](const Vec3& p) { return (p - kMiddle).norm() <= 10; });
  const KeepOut ball("ball", mask);
  const Vec3 axis = Vec3(1, 2, 2).normalized(), side = axis.unitOrthogonal();
  // How deep the axis lies below the ball's surface, and the radius of the steel.
  EXPECT_NEAR(clearance_mm(ball, {kMiddle - 20 * axis, axis, 40, 1.5}), -11.5, 0.9);
  EXPECT_NEAR(clearance_mm(ball, {kMiddle - 20 * axis + 6 * side, axis, 40, 1.5}), -5.5, 0.9);
  EXPECT_NEAR(clearance_mm(ball, {kMiddle - 20 * axis + 10.5 * side, axis, 40, 1.5}), -1.0, 0.45);
  EXPECT_LT(clearance_mm(ball, {kMiddle - 2 * axis, axis, 4, 1.5}), -7);   // wholly inside: no border near
}

TEST(Clearance, OfAThinThingIsNotMissed) {
  const Grid grid = grid_about({0, 0, 0}, 15, {1, 1, 1}, Mat3::Identity());
  const Mask mask = mask_where(grid, {}, [](const Vec3& p) { return (p - Vec3(4.5, 0.5, 0.5)).norm() < 0.1; });
  ASSERT_EQ(mask.inside.size(), 1u);   // one voxel
  EXPECT_NEAR(clearance_mm(KeepOut("bead", mask), {{0.5, 0.5, -10}, Vec3::UnitZ(), 20, 1.5}), 4 - 1.5 - 0.5, 1e-4);
}

TEST(SegmentDistance, AgreesWithWalkingBothSegments) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> place(-10, 10);
  const auto point = [&] { return Vec3(place(random), place(random), place(random)); };
  for (int n = 0; n < 200; ++n) {
    const Vec3 a0 = point(), a1 = n % 5 == 0 ? a0 : point(), b0 = point();
    const Vec3 b1 = n % 7 == 0 ? Vec3(b0 + 0.8 * (a1 - a0)) : point();   // points and parallels among them
    double walked = 1e9;
    for (int s = 0; s <= 200; ++s)
      for (int t = 0; t <= 200; ++t)
        walked = std::min(walked, (a0 + s / 200.0 * (a1 - a0) - b0 - t / 200.0 * (b1 - b0)).norm());
    const double exact = segment_distance_mm(a0, a1, b0, b1);
    EXPECT_LE(exact, walked + 1e-9);
    EXPECT_NEAR(exact, walked, 0.12);
  }
}

}  // namespace
}  // namespace leastharm::test
