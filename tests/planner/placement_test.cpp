#include "planner/placement.h"

#include <gtest/gtest.h>

#include <numbers>
#include <random>

#include "planner/counter_random.h"
#include "support/shape_world.h"

namespace leastharm::test {
namespace {

const Vec3 kMiddle{-31.3, 12.7, 400.1};
const Pose kPose{oblique(), kMiddle};

/// A needle down the x axis of the shapes' frame, 60 mm deep, tip at the origin.
Track probe() { return track_between(kPose({-60, 0, 0}), kPose({0, 0, 0})); }

Mask world_mask(const std::function<bool(const Vec3&)>& inside, double voxel_mm = 0.5, double half_mm = 24) {
  return mask_where(grid_about(kMiddle, half_mm, Vec3::Constant(voxel_mm), oblique()), kPose, inside);
}

TEST(RandomNumbers, QuantileInvertsTheDistribution) {
  for (const double p : {1e-12, 1e-6, 0.01, 0.3, 0.5, 0.77, 0.999, 1 - 1e-9})
    EXPECT_NEAR(normal_cdf(normal_quantile(p)) / p, 1, 1e-9);
  EXPECT_NEAR(normal_quantile(0.975), 1.959963984540054, 1e-12);   // any table of the normal
}

TEST(RandomNumbers, AreNormalAndDoNotHangOnOrder) {
  double sum = 0, square = 0, tail = 0;
  constexpr int kCount = 200000;
  for (std::uint64_t n = 0; n < kCount; ++n) {
    const double z = random_normal(1, stream_named("a"), n);
    sum += z;
    square += z * z;
    tail += z > 1.959963984540054 ? 1 : 0;
  }
  EXPECT_NEAR(sum / kCount, 0, 0.01);
  EXPECT_NEAR(square / kCount, 1, 0.015);
  EXPECT_NEAR(tail / kCount, 0.025, 0.0015);
  EXPECT_NE(random_bits(1, 2, 3), random_bits(1, 3, 2));
  EXPECT_NE(random_bits(1, 2, 3), random_bits(2, 1, 3));
}

TEST(PlacedAxis, SpreadsTheTipAsAsked) {
  const Track track = probe();
  const Placement placement{3, 2, 1};
  std::mt19937 random(4);
  std::normal_distribution<double> normal;
  const auto three = [&] { return Vec3(normal(random), normal(random), normal(random)); };
  Vec3 square = Vec3::Zero(), entry_square = Vec3::Zero();
  constexpr int kCount = 20000;
  for (int n = 0; n < kCount; ++n) {
    const PlacedAxis placed = placed_axis(track, placement, three(), three());
    square += (kPose.turn.transpose() * (placed.tip_lps_mm - track.tip_lps_mm)).cwiseAbs2() / kCount;
    entry_square += (kPose.turn.transpose() * (placed.entry_lps_mm - track.entry_lps_mm)).cwiseAbs2() / kCount;
  }
  EXPECT_NEAR(std::sqrt(square.x()), 2, 0.05);
  EXPECT_NEAR(std::sqrt(square.y()), 3, 0.06);
  EXPECT_NEAR(std::sqrt(square.z()), 3, 0.06);
  // The entry lies 60 mm before the tip on a lever of 150 mm (the usable length): 3/5 of the turn, and the shared part.
  EXPECT_NEAR(std::sqrt(entry_square.y()), std::hypot(1.0, std::sqrt(8.0) * (1 - 60 / track.needle.usable_mm)), 0.03);
  EXPECT_NEAR(entry_square.x(), 0, 1e-9);
}

// Published arithmetic: at 4.9 mm deviation a flat keep-out 5 mm away is touched 15 times in 100.
TEST(TouchChance, OfAWallIsTheNormalTail) {
  for (const double distance : {2.0, 5.0, 9.0}) {
    const Mask mask = world_mask([&](const Vec3& p) { return p.y() > 1.5 + distance; }, 0.5, 30);
    const KeepOut wall("wall", mask);
    const double border = [&] {   // where the map has the wall, to a voxel
      double least = 1e9;
      for (const auto& cell : wall.cells()) least = std::min(least, kPose.back(cell.centre()).y() - 0.25);
      return least;
    }();
    const Chance chance = touch_chance(wall, probe(), {4.9, 0, 0});
    EXPECT_NEAR(chance.p, normal_cdf(-(border - 1.5) / 4.9), 0.01 * chance.p + 2 * chance.standard_error) << distance;
  }
  const Mask mask = world_mask([](const Vec3& p) { return p.y() > 6.5; });
  EXPECT_NEAR(touch_chance(KeepOut("wall", mask), probe(), {4.9, 0, 0}).p, 0.154, 0.01);
}

// A keep-out that reaches up to the surface: a needle far enough off begins inside it and crosses no border on its way.
TEST(TouchChance, CountsWhatBeginsInsideTheKeepOut) {
  const Mask mask = world_mask([](const Vec3& p) { return p.y() > 6.5; }, 0.5, 45);
  const KeepOut wall("wall", mask);
  double border = 1e9;
  for (const auto& cell : wall.cells()) border = std::min(border, kPose.back(cell.centre()).y() - 0.25);
  for (const double sd : {4.9, 8.0, 11.0}) {
    const Chance chance = touch_chance(wall, probe(), {sd, 0, 0});
    EXPECT_NEAR(chance.p, normal_cdf(-(border - 1.5) / sd), 0.01 * chance.p + 2 * chance.standard_error) << sd;
  }
}

TEST(TouchChance, SeesOneInAHundredMillion) {
  const Mask mask = world_mask([&](const Vec3& p) { return p.y() > 10.5; });
  const KeepOut wall("wall", mask);
  double border = 1e9;
  for (const auto& cell : wall.cells()) border = std::min(border, kPose.back(cell.centre()).y() - 0.25);
  const double expected = normal_cdf(-(border - 1.5) / 1.6);
  ASSERT_LT(expected, 1e-7);
  EXPECT_NEAR(touch_chance(wall, probe(), {1.6, 0, 0}).p / expected, 1, 0.06);
}

TEST(TouchChance, BeyondTheTipIsTheDepthTail) {
  const Mask mask = world_mask([](const Vec3& p) { return p.x() > 5; });
  const KeepOut floor("floor", mask);
  double border = 1e9;
  for (const auto& cell : floor.cells()) border = std::min(border, kPose.back(cell.centre()).x() - 0.25);
  EXPECT_NEAR(touch_chance(floor, probe(), {1, 2, 0}).p, normal_cdf(-border / 2), 0.004);
  EXPECT_EQ(touch_chance(floor, probe(), {1, 0, 0}).p, 0);
}

/// Counting, from the clearance itself: another way than integrating shadows.
double counted_touches(const KeepOut& keep_out, const Track& track, const Placement& placement, int draws) {
  std::mt19937 random(9);
  std::normal_distribution<double> normal;
  int touched = 0;
  for (int n = 0; n < draws; ++n) {
    const PlacedAxis placed = placed_axis(track, placement, Vec3(normal(random), normal(random), normal(random)),
                                          Vec3(normal(random), normal(random), normal(random)));
    Track moved = track;
    moved.entry_lps_mm = placed.entry_lps_mm;
    moved.tip_lps_mm = placed.tip_lps_mm;
    if (clearance_mm(keep_out, outer_cylinder(moved)) <= 0) ++touched;
  }
  return static_cast<double>(touched) / draws;
}

TEST(TouchChance, AgreesWithCountingDraws) {
  const Mask ball = world_mask([](const Vec3& p) { return (p - Vec3(-8, 5, 3)).norm() < 3.5; }, 0.7);
  const Mask pair = world_mask([](const Vec3& p) { return (p - Vec3(-15, 4, 0)).norm() < 2 || (p - Vec3(3, -3, -4)).norm() < 3; }, 0.7);
  constexpr int kDraws = 20000;
  int n = 0;
  for (const Mask* mask : {&ball, &pair})
    for (const Placement& placement : {Placement{3, 2, 0}, Placement{5, 0, 0}, Placement{3, 3, 2}}) {
      const KeepOut keep_out("it", *mask);
      const Chance chance = touch_chance(keep_out, probe(), placement);
      const double counted = counted_touches(keep_out, probe(), placement, kDraws);
      const double error = std::sqrt(counted * (1 - counted) / kDraws);
      // A shared part is taken as going with the rest: good to a tenth.
      const double model = placement.shared_mm > 0 ? 0.1 * counted : 0.01 * counted;
      EXPECT_NEAR(chance.p, counted, 3 * error + 3 * chance.standard_error + model) << n++;
    }
}

TEST(TouchChance, OfTheSteelItselfInItIsOne) {
  const Mask mask = world_mask([](const Vec3& p) { return p.norm() < 20; });
  EXPECT_GT(touch_chance(KeepOut("ball", mask), probe(), {1, 1, 0}).p, 0.999);
}

TEST(DiscChance, AgreesWithClosedForms) {
  for (const double sd : {0.3, 1.0, 3.0, 8.0}) {
    EXPECT_NEAR(disc_chance(0, 1.5, sd), 1 - std::exp(-2.25 / (2 * sd * sd)), 2e-4) << sd;   // Rayleigh
    EXPECT_NEAR(disc_chance(1.5, 1.5, 0.01), 0.5, 5e-3);                                     // on the rim of a wide disc
  }
  // Against plain counting of a fine grid of points, off the middle.
  for (const double distance : {0.5, 2.0, 4.0})
    for (const double sd : {0.4, 1.0, 2.5}) {
      constexpr int kSide = 400;
      double sum = 0;
      for (int i = 0; i < kSide; ++i)
        for (int j = 0; j < kSide; ++j) {
          const double x = 3.0 * (i + 0.5) / kSide - 1.5, y = 3.0 * (j + 0.5) / kSide - 1.5;
          if (std::hypot(x, y) < 1.5) sum += std::exp(-((x - distance) * (x - distance) + y * y) / (2 * sd * sd));
        }
      sum *= 9.0 / (kSide * kSide) / (2 * std::numbers::pi * sd * sd);
      EXPECT_NEAR(disc_chance(distance, 1.5, sd), sum, 5e-4) << distance << " " << sd;
    }
  EXPECT_EQ(disc_chance(1, 1.5, 0), 1);
  EXPECT_EQ(disc_chance(2, 1.5, 0), 0);
}

TEST(ExpectedIntrusion, AgreesWithDrawing) {
  const Mask mask = world_mask([](const Vec3& p) { return (p - Vec3(-4, 3, 0)).norm() < 4; }, 0.5);
  const KeepOut ball("ball", mask);
  const Placement placement{3, 2, 0};
  std::mt19937 random(1);
  std::normal_distribution<double> normal;
  double sum = 0, square = 0;
  constexpr int kDraws = 3000;
  for (int n = 0; n < kDraws; ++n) {
    Track moved = probe();
    const PlacedAxis placed = placed_axis(moved, placement, Vec3(normal(random), normal(random), normal(random)), Vec3::Zero());
    moved.entry_lps_mm = placed.entry_lps_mm;
    moved.tip_lps_mm = placed.tip_lps_mm;
    const Cylinder steel = outer_cylinder(moved);
    double volume = 0;
    for (const auto& cell : ball.cells())
      if (steel.signed_distance_mm(cell.centre()) <= 0) volume += ball.cell_mm3();
    sum += volume / kDraws;
    square += volume * volume / kDraws;
  }
  const double error = std::sqrt((square - sum * sum) / kDraws);
  EXPECT_NEAR(expected_intrusion_mm3(ball, probe(), placement), sum, 3 * error + 0.01 * sum);
}

TEST(ReachChance, OfALayerIsTheNormalsShare) {
  // The core's centre lies 10 mm before the tip; the layer reaches 4 mm to either side of it along y.
  const ShapeWorld world = make_world(grid_about(kMiddle, 30, {0.25, 0.5, 0.5}, oblique()), kPose, [](const Vec3& p) {
    return std::abs(p.y()) < 4 ? Material::packing : Material::body;
  });
  const double sd = 3.0 * (1 - 10 / probe().needle.usable_mm);
  EXPECT_NEAR(reach_chance(world.body(), {}, probe(), {3, 2, 0}), 1 - 2 * normal_cdf(-4 / sd), 0.01);
  EXPECT_EQ(reach_chance(world.body(), {}, probe(), {0, 0, 0}), 1);
}

}  // namespace
}  // namespace leastharm::test
