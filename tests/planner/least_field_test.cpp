// What coarse lattices are given must not lie above the field anywhere near.
#include "least_field.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "refined_field.h"

namespace leastharm {
namespace {

/// Blocks of different weights, a few voxels wide, and holes.
RefinedField averaged_field(float base, float most) {
  Volume<float> weights;
  weights.grid.size = {40, 36, 30};
  weights.grid.spacing_mm = {0.9, 1.1, 1.5};
  weights.values.assign(weights.grid.voxel_count(), base);
  std::mt19937 random(6);
  std::uniform_real_distribution<float> even(0, 1);
  for (int n = 0; n < 60; ++n) {
    const auto from = [&](int size) { return static_cast<int>(even(random) * static_cast<float>(size - 4)); };
    const int i = from(40), j = from(36), k = from(30);
    const float w = even(random) < 0.5f ? base - most / 4 : base + most * even(random);
    for (int c = 0; c < 4; ++c)
      for (int b = 0; b < 4; ++b)
        for (int a = 0; a < 4; ++a) weights.values[weights.grid.offset(i + a, j + b, k + c)] = w;
  }
  return {weights, 1.5, {2, 2, 2}};
}

// The averaged field is sharpened, and may lie a little below 0; what it averages does not.
TEST(LeastField, IsNowhereAboveTheFieldWithinItsRadius) {
  const RefinedField field = averaged_field(1, 4);
  const Volume<float> blocks = field.least_in_blocks(1);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> even(0, 1);
  std::normal_distribution<double> normal;
  for (const auto& [radius, per_block] : {std::pair{1.7, 1}, {3.1, 2}}) {
    const LeastField least(blocks, radius, per_block);
    double most = 0;
    for (int n = 0; n < 3000; ++n) {
      const Vec3 p = Vec3(35, 38, 43).cwiseProduct(Vec3(even(random), even(random), even(random)));
      const double given = static_cast<double>(least.at(p));
      most = std::max(most, given);
      for (int m = 0; m < 40; ++m) {
        const Vec3 off = Vec3(normal(random), normal(random), normal(random)).normalized() * radius * std::cbrt(even(random));
        ASSERT_LE(given, std::max(0.0, static_cast<double>(field.at(p + off))) + 1e-6) << "at " << p.transpose() << " off " << off.transpose();
      }
    }
    EXPECT_GT(most, 0);
  }
}

TEST(LeastField, IsWhatIsEvenInsideAndNothingBeyond) {
  const LeastField least(averaged_field(2, 0).least_in_blocks(1), 1.7, 1);
  EXPECT_NEAR(least.at({17, 19, 21}), 2, 0.02);
  EXPECT_EQ(least.at({-0.1, 19, 21}), 0);
  EXPECT_EQ(least.at({17, 19, 43.4}), 0) << "a part of what is near lies beyond the field";
  EXPECT_EQ(least.at({17, 19, 60}), 0);
  Volume<float> none;
  none.grid.size = {0, 3, 3};
  EXPECT_EQ(LeastField(none, 1.7, 1).at({0, 0, 0}), 0);
}

}  // namespace
}  // namespace leastharm
