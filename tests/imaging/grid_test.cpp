#include "imaging/grid.h"

#include <gtest/gtest.h>

namespace leastharm {
namespace {

Grid oblique_grid() {
  Grid g;
  g.size = {7, 5, 9};
  g.spacing_mm = {0.8, 1.1, 3.0};
  g.origin_lps_mm = {-40, 12, 300};
  const double c = std::cos(0.3), s = std::sin(0.3);
  g.direction << c, -s, 0, s, c, 0, 0, 0, 1;
  return g;
}

TEST(Grid, IndexAndPositionAreInverse) {
  const Grid g = oblique_grid();
  const Vec3 index{2.25, 3.5, 6.75};
  EXPECT_LT((g.index_from_lps(g.lps_from_index(index)) - index).norm(), 1e-12);
}

TEST(Grid, AnIndexIsAVoxelsCentre) {
  const Grid g = oblique_grid();
  EXPECT_EQ(g.voxel_at(g.lps_from_index({3.49, 2.51, 4.0})), (VoxelIndex{3, 3, 4}));
  EXPECT_EQ(g.voxel_at(g.lps_from_index({-0.6, 0, 0})), (VoxelIndex{-1, 0, 0}));
}

TEST(Grid, SameGridComparesPlacesNotFields) {
  const Grid g = oblique_grid();
  Grid moved = g;
  moved.origin_lps_mm.x() += 0.5;
  EXPECT_TRUE(same_grid(g, g));
  EXPECT_FALSE(same_grid(g, moved));
}

}  // namespace
}  // namespace leastharm
