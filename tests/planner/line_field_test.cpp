// Fields that are summed along lines.
#include "line_field.h"

#include <gtest/gtest.h>

#include <random>

namespace leastharm {
namespace {

TEST(LineField, KnowsWhereALineRunsThroughIt) {
  Volume<float> nodes;
  nodes.grid.size = {6, 9, 4};
  nodes.grid.spacing_mm = {0.8, 1.1, 2.5};
  nodes.values.assign(nodes.grid.voxel_count(), 1.0f);
  const LineField field(nodes);
  std::mt19937 random(3);
  std::uniform_real_distribution<double> even(-1, 1);
  int met = 0;
  for (int n = 0; n < 400; ++n) {
    const Vec3 p = Vec3(2, 4, 4) + 12 * Vec3(even(random), even(random), even(random));
    Vec3 d = Vec3(even(random), even(random), even(random)).normalized();
    if (n % 4 == 0) d = Vec3::Unit(n / 4 % 3);   // along an axis
    const auto [first, last] = field.range(p, d);
    met += first < last;
    for (double t = -40; t <= 40; t += 0.37) {
      const bool within = t > first + 1e-4 && t < last - 1e-4, near = t > first - 1e-4 && t < last + 1e-4;
      const float value = field.at(p + t * d);
      if (within) EXPECT_GT(value, 0) << n << " at " << t;
      if (!near) EXPECT_EQ(value, 0) << n << " at " << t;
    }
  }
  EXPECT_GT(met, 60);
  EXPECT_LT(met, 340);
}

}  // namespace
}  // namespace leastharm
