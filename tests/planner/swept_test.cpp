#include "planner/swept.h"

#include <gtest/gtest.h>

#include <numbers>
#include <random>

#include "support/shape_world.h"

namespace leastharm::test {
namespace {

constexpr double kPi = std::numbers::pi;
const Vec3 kMiddle{21.3, -52.7, 1400.1};
constexpr auto kBody = static_cast<std::size_t>(Material::body);

double body_volume(const ShapeWorld& world, const Cylinder& cylinder) {
  return volumes_in(world.body(), cylinder, fine_node_count(cylinder.radius_mm, world.grid))[kBody];
}

struct GridCase {
  const char* name;
  Vec3 spacing_mm;
  Mat3 direction;
};

class SweptVolume : public testing::TestWithParam<GridCase> {
 protected:
  [[nodiscard]] ShapeWorld world(const Pose& pose, const ShapeOf& shape, double half_mm = 22) const {
    return make_world(grid_about(kMiddle, half_mm, GetParam().spacing_mm, GetParam().direction), pose, shape);
  }
};

INSTANTIATE_TEST_SUITE_P(Grids, SweptVolume,
                         testing::Values(GridCase{"Isotropic", {0.4, 0.4, 0.4}, Mat3::Identity()},
                                         GridCase{"AnisotropicOblique", {0.35, 0.4, 0.6}, oblique()}),
                         [](const auto& param) { return param.param.name; });

// Closed form: pi R^2 t for a slab crossed squarely.
TEST_P(SweptVolume, OfASlabCrossedSquarelyIsItsThicknessTimesTheDisc) {
  const Pose pose{GetParam().direction, kMiddle};   // the slab's faces run along the grid's own, on voxel faces
  const double step = GetParam().spacing_mm.x();
  const ShapeWorld slab = world(pose, [&](const Vec3& p) { return std::abs(p.x()) < 15 * step ? Material::body : Material::air; });
  const Cylinder needle{pose(Vec3(-20, 1.3, -2.1)), pose.turn.col(0), 40, 1.5};
  EXPECT_NEAR(body_volume(slab, needle) / (kPi * 1.5 * 1.5 * 30 * step), 1, 1e-3);
}

// Closed form: pi R^2 t / cos(angle) for a slab crossed at a slant; the slab lies at an angle to the grid too.
TEST_P(SweptVolume, OfASlabCrossedAtASlantGrowsWithTheAngle) {
  const Pose pose{GetParam().direction * Eigen::AngleAxisd(0.7, Vec3(1, 1, 2).normalized()).toRotationMatrix(), kMiddle};
  const ShapeWorld slab = world(pose, [](const Vec3& p) { return std::abs(p.x()) < 6 ? Material::body : Material::air; });
  for (const double angle : {0.0, 0.4, 0.8}) {
    const Vec3 axis = pose.turn * Vec3(std::cos(angle), std::sin(angle), 0);
    const Cylinder needle{kMiddle - 15 * axis, axis, 30, 1.5};
    EXPECT_NEAR(body_volume(slab, needle) / (kPi * 1.5 * 1.5 * 12 / std::cos(angle)), 1, 0.01) << angle;
  }
}

// Closed form: a cylinder of radius R through the middle of a ball of radius a holds 4/3 pi (a^3 - (a^2 - R^2)^(3/2)).
TEST_P(SweptVolume, OfABallPiercedThroughItsMiddle) {
  const Pose pose{Mat3::Identity(), kMiddle};
  const ShapeWorld ball = world(pose, [](const Vec3& p) { return p.norm() < 8 ? Material::body : Material::air; }, 14);
  const Vec3 axis = Vec3(2, -1, 3).normalized();
  for (const double radius : {1.5, 3.0}) {
    const double expected = 4.0 / 3 * kPi * (512 - std::pow(64 - radius * radius, 1.5));
    EXPECT_NEAR(body_volume(ball, {kMiddle - 20 * axis, axis, 40, radius}) / expected, 1, 0.01) << radius;
  }
}

// Closed form (Archimedes): two equal cylinders crossing squarely share 16 r^3 / 3.
TEST_P(SweptVolume, OfACylinderAcrossAnEqualOneIsSixteenThirdsOfTheCube) {
  const Pose pose{Eigen::AngleAxisd(0.5, Vec3(3, 1, -2).normalized()).toRotationMatrix(), kMiddle};
  const double r = 3;
  const ShapeWorld rod = world(pose, [&](const Vec3& p) { return std::hypot(p.x(), p.y()) < r ? Material::body : Material::air; }, 12);
  const Vec3 axis = pose.turn.col(0);
  EXPECT_NEAR(body_volume(rod, {kMiddle - 12 * axis, axis, 24, r}) / (16 * r * r * r / 3), 1, 0.01);
}

TEST_P(SweptVolume, AddsUpToTheWholeCylinder) {
  const ShapeWorld mixed = world({oblique(), kMiddle}, [](const Vec3& p) {
    return p.x() < -3 ? Material::air : p.y() < 2 ? Material::wrapping : Material::bone;
  });
  const Cylinder needle{kMiddle - Vec3(5, 6, 2), Vec3(2, 3, 1).normalized(), 14, 1.5};
  double sum = 0;
  for (const double v : volumes_in(mixed.body(), needle, fine_node_count(1.5, mixed.grid))) sum += v;
  EXPECT_NEAR(sum / needle.volume_mm3(), 1, 1e-9);
}

/// The voxel map's own volume inside a cylinder, by cutting every voxel into 12^3: another way than lines.
double volume_by_cutting(const ShapeWorld& world, const Cylinder& cylinder) {
  constexpr int kParts = 12;
  double volume = 0;
  const double diagonal = world.grid.spacing_mm.norm() / 2;
  for_each_centre(world.grid, [&](VoxelIndex v, const Vec3& centre) {
    if (world.materials[world.grid.offset(v)] != kBody) return;
    const double distance = cylinder.signed_distance_mm(centre);
    if (distance > diagonal) return;
    int inside = 0;
    for (int n = 0; n < kParts * kParts * kParts; ++n) {
      const Vec3 part = (Vec3(n % kParts, n / kParts % kParts, n / kParts / kParts) + Vec3::Constant(0.5)) / kParts;
      const Vec3 point = world.grid.lps_from_index(Vec3(v.i, v.j, v.k) + part - Vec3::Constant(0.5));
      if (distance < -diagonal || cylinder.signed_distance_mm(point) <= 0) ++inside;
    }
    volume += inside / std::pow(kParts, 3.0);
  });
  return volume * world.grid.voxel_volume_mm3();
}

TEST(SweptVolumeOfTheMap, IsWithinAFifthOfAPercentOfCuttingTheVoxels) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> place(-1, 1);
  const double voxels[]{0.5, 0.9, 1.6};
  for (const double size : voxels) {
    const Grid grid = grid_about(kMiddle, 14, {size, size, 1.4 * size}, oblique());
    const ShapeWorld world = make_world(grid, {Mat3::Identity(), kMiddle}, [](const Vec3& p) {
      return (p - Vec3(1, 2, 0)).norm() < 9 ? Material::body : Material::air;
    });
    for (int n = 0; n < 4; ++n) {
      const Vec3 axis = Vec3(place(random), place(random), place(random)).normalized();
      const Vec3 through = kMiddle + 4 * Vec3(place(random), place(random), place(random));
      const Cylinder needle{through - 13 * axis, axis, 22, n % 2 == 0 ? 1.5 : 1.2};
      EXPECT_NEAR(body_volume(world, needle) / volume_by_cutting(world, needle), 1, 2e-3) << size << " mm";
    }
  }
}

TEST(SweptVolumeOfTheMap, AlongTheGridsOwnAxisIsAsGood) {
  const Grid grid = grid_about({0, 0, 0}, 12, {0.8, 0.9, 1}, Mat3::Identity());
  const ShapeWorld chess = make_world(grid, {}, [&](const Vec3& p) {   // columns of one voxel: the hardest for lines
    const VoxelIndex v = grid.voxel_at(p);
    return (v.i + v.j) % 2 == 0 ? Material::body : Material::air;
  });
  const Cylinder needle{{0.31, -0.42, -8}, Vec3::UnitZ(), 16, 1.5};
  EXPECT_NEAR(body_volume(chess, needle) / volume_by_cutting(chess, needle), 1, 1e-2);
}

TEST(SweptVolumeOfTheMap, ConvergesAsTheGridIsRefined) {
  const double exact = 4.0 / 3 * kPi * (512 - std::pow(64 - 2.25, 1.5));
  const Vec3 axis = Vec3(1, 2, -2).normalized();
  double errors[3];
  const double sizes[]{2.0, 1.0, 0.5};
  for (int n = 0; n < 3; ++n) {
    double square = 0;
    for (int shift = 0; shift < 6; ++shift) {   // over several placings of the grid: one alone may be lucky
      const Vec3 middle = kMiddle + 0.3 * shift * Vec3(1, 0.7, -0.4);
      const Grid grid = grid_about(middle, 13, {sizes[n], sizes[n], sizes[n]}, oblique());
      const ShapeWorld ball = make_world(grid, {Mat3::Identity(), kMiddle}, [](const Vec3& p) { return p.norm() < 8 ? Material::body : Material::air; });
      square += std::pow(body_volume(ball, {kMiddle - 18 * axis, axis, 36, 1.5}) / exact - 1, 2) / 6;
    }
    errors[n] = std::sqrt(square);
  }
  EXPECT_LT(errors[1], errors[0]);
  EXPECT_LT(errors[2], errors[1]);
  EXPECT_LT(errors[2], 0.01);
}

}  // namespace
}  // namespace leastharm::test
