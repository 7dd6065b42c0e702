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

TEST(Grid, AnOffsetIsAVoxelsPlaceInMemory) {
  const Grid g = oblique_grid();
  const VoxelIndex v{4, 3, 7};
  EXPECT_EQ(g.offset(v), 4u + 7u * (3u + 5u * 7u));
  EXPECT_EQ(g.index(g.offset(v)), v);
  EXPECT_EQ(g.index(g.voxel_count() - 1), (VoxelIndex{6, 4, 8}));
  for (std::size_t a = 0; a < 3; ++a) {
    VoxelIndex next = v;
    (a == 0 ? next.i : a == 1 ? next.j : next.k) += 1;
    EXPECT_EQ(g.offset(next), g.offset(v) + static_cast<std::size_t>(g.strides()[a]));
  }
}

TEST(Grid, AWayIsTheDifferenceOfItsEnds) {
  const Grid g = oblique_grid();
  const Vec3 from{-38, 15, 309}, way{1.5, -2, 4};
  EXPECT_LT((g.index_way(way) - (g.index_from_lps(from + way) - g.index_from_lps(from))).norm(), 1e-12);
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
