#include "planner/crossing.h"

#include <gtest/gtest.h>

#include <random>

#include "planner/entry.h"
#include "planner/voxel_walk.h"
#include "support/shape_world.h"

namespace leastharm::test {
namespace {

const Vec3 kMiddle{-31.3, 12.7, 400.1};

TEST(VoxelWalk, CutsALineAtEveryVoxelFace) {
  const Grid grid = grid_about(kMiddle, 12, {0.7, 0.9, 1.3}, oblique());
  std::mt19937 random(7);
  std::uniform_real_distribution<double> place(-20, 20);
  for (int n = 0; n < 300; ++n) {
    const Vec3 a = kMiddle + Vec3(place(random), place(random), place(random));
    const Vec3 b = kMiddle + Vec3(place(random), place(random), place(random));
    const Vec3 axis = (b - a).normalized();
    double last = -1, inside = 0;
    walk_voxels(grid, a, axis, 0, (b - a).norm(), [&](std::size_t offset, VoxelIndex v, double from, double to) {
      ASSERT_LT(from, to);
      if (last >= 0) { ASSERT_EQ(from, last); }
      last = to;
      inside += to - from;
      ASSERT_EQ(offset, grid.offset(v));
      const Vec3 middle = grid.index_from_lps(a + (from + to) / 2 * axis);
      ASSERT_LE((middle - Vec3(v.i, v.j, v.k)).cwiseAbs().maxCoeff(), 0.5 + 1e-9);
    });
    // The length inside the grid's box, from the box's planes alone.
    const Vec3 c = grid.index_from_lps(a), d = grid.index_from_lps(a + axis) - c;
    double low = 0, high = (b - a).norm();
    for (Eigen::Index e = 0; e < 3; ++e) {
      const double p = (-0.5 - c[e]) / d[e], q = (grid.size[static_cast<std::size_t>(e)] - 0.5 - c[e]) / d[e];
      low = std::max(low, std::min(p, q));
      high = std::min(high, std::max(p, q));
    }
    EXPECT_NEAR(inside, std::max(0.0, high - low), 1e-9);
  }
}

TEST(VoxelWalk, StopsWhereTheVisitorSaysSo) {
  const Grid grid = grid_about({0, 0, 0}, 10, {1, 1, 1}, Mat3::Identity());
  int visited = 0;
  walk_voxels(grid, {-20, 0.2, 0.3}, Vec3::UnitX(), 0, 40, [&](std::size_t, VoxelIndex, double, double) { return ++visited < 3; });
  EXPECT_EQ(visited, 3);
}

TEST(VoxelWalk, RunsAlongAFaceWithoutLosingLength) {
  const Grid grid = grid_about({0, 0, 0}, 10, {1, 1, 1}, Mat3::Identity());   // faces at whole numbers
  double length = 0;
  walk_voxels(grid, {-20, 2, -3}, Vec3::UnitX(), 0, 40, [&](std::size_t, VoxelIndex, double from, double to) { length += to - from; });
  EXPECT_DOUBLE_EQ(length, 20);
}

TEST(Crossing, OfLayersIsTheirThicknessOverTheCosine) {
  const Mat3 axes = oblique();
  const Grid grid = grid_about(kMiddle, 40, {0.5, 0.6, 0.8}, axes);
  const Pose pose{axes, kMiddle};   // layers along the grid's own i axis, borders on voxel faces
  const double face = -0.5 * grid.size[0] * 0.5;
  const ShapeWorld world = make_world(grid, pose, [&](const Vec3& p) {
    const double x = p.x() - face;
    return x < 10 ? Material::air : x < 16 ? Material::wrapping : x < 26 ? Material::body : Material::packing;
  });
  const double cosine = std::cos(0.5);
  const Vec3 axis = axes * Vec3(cosine, std::sin(0.5), 0);
  const Vec3 start = pose(Vec3(face + 2, -12, 3.1));
  const auto crossings = crossings_along(world.body(), start, axis, 0, 40);
  ASSERT_EQ(crossings.size(), 4u);
  const Material order[]{Material::air, Material::wrapping, Material::body, Material::packing};
  const double ends[]{8 / cosine, 14 / cosine, 24 / cosine, 40};
  for (std::size_t n = 0; n < 4; ++n) {
    EXPECT_EQ(crossings[n].material, order[n]);
    EXPECT_NEAR(crossings[n].to_mm, ends[n], 1e-9);
    EXPECT_EQ(crossings[n].from_mm, n == 0 ? 0 : crossings[n - 1].to_mm);
  }
  EXPECT_NEAR(length_in(crossings, Material::body), 10 / cosine, 1e-9);
}

TEST(Crossing, IsAirOutsideTheGrid) {
  const Grid grid = grid_about({0, 0, 0}, 5, {1, 1, 1}, Mat3::Identity());
  const ShapeWorld world = make_world(grid, {}, [](const Vec3&) { return Material::body; });
  const auto crossings = crossings_along(world.body(), {-20, 0.3, 0.3}, Vec3::UnitX(), 0, 40);
  ASSERT_EQ(crossings.size(), 3u);
  EXPECT_EQ(crossings[0].material, Material::air);
  EXPECT_NEAR(crossings[1].from_mm, 15, 1e-12);
  EXPECT_NEAR(crossings[1].to_mm, 25, 1e-12);
  EXPECT_NEAR(crossings[2].to_mm, 40, 1e-12);
}

TEST(Crossing, OfATrackFromItsEntryBeginsWithTheObjectHoweverTheWorldIsTurned) {
  for (int n = 0; n < 40; ++n) {
    const Mat3 turn(Eigen::AngleAxisd(0.1 * n, Vec3(1, 2, 0.1 * n).normalized()));
    const Pose pose{turn, kMiddle + Vec3(n, 3 * n, 0)};
    const ShapeWorld world = make_world(grid_about(pose.at, 20, {0.8, 0.9, 1.1}, turn), pose,
                                        [](const Vec3& p) { return p.norm() < 15 ? Material::body : Material::air; });
    const Body body = world.body();
    const auto entry = find_entry_point(body, pose({-3, -19, 2}), pose({0, 0, 0}));
    ASSERT_TRUE(entry);
    const Vec3 way = pose({0, 0, 0}) - *entry;
    const auto crossings = crossings_along(body, *entry, way.normalized(), 0, way.norm());
    ASSERT_EQ(crossings.size(), 1u) << n;
    EXPECT_EQ(crossings[0].material, Material::body);
    EXPECT_EQ(crossings[0].from_mm, 0);
    EXPECT_EQ(crossings[0].to_mm, way.norm());
  }
}

TEST(Crossing, IsTheSameFromBothEnds) {
  const Grid grid = grid_about(kMiddle, 30, {0.7, 0.9, 1.1}, oblique());
  const ShapeWorld world = make_world(grid, {oblique(), kMiddle}, [](const Vec3& p) {
    return p.norm() < 12 ? Material::packing : p.norm() < 20 ? Material::body : Material::air;
  });
  const Vec3 a = kMiddle + Vec3(-35, 4, 3), b = kMiddle + Vec3(35, -6, 8);
  const double length = (b - a).norm();
  const auto there = crossings_along(world.body(), a, (b - a) / length, 0, length);
  const auto back = crossings_along(world.body(), b, (a - b) / length, 0, length);
  ASSERT_EQ(there.size(), back.size());
  for (std::size_t n = 0; n < there.size(); ++n) {
    EXPECT_EQ(there[n].material, back[back.size() - 1 - n].material);
    EXPECT_NEAR(there[n].to_mm - there[n].from_mm, back[back.size() - 1 - n].to_mm - back[back.size() - 1 - n].from_mm, 1e-9);
  }
}

}  // namespace
}  // namespace leastharm::test
