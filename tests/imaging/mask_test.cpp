#include "imaging/mask.h"

#include <gtest/gtest.h>

#include <cmath>

#include "imaging/error.h"
#include "support/grids.h"

namespace leastharm {
namespace {

using test::oblique_grid;

Volume<std::uint8_t> empty_labels(const Grid& grid) { return {grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)}; }

TEST(Mask, ABallHasItsVolume) {
  const Grid grid = oblique_grid({90, 80, 40}, {0.5, 0.6, 1.1});
  const Vec3 centre = grid.lps_from_index({44.3, 39.6, 20.2});
  const Mask ball = ball_mask(grid, centre, 14);
  EXPECT_NEAR(ball.volume_mm3(), 4.0 / 3 * M_PI * std::pow(14, 3), 0.01 * 4.0 / 3 * M_PI * std::pow(14, 3));
  EXPECT_TRUE(ball.contains(grid.voxel_at(centre)));
  EXPECT_FALSE(ball.contains({0, 0, 0}));
}

TEST(Mask, ABallOutsideTheGridIsRefused) {
  const Grid grid = oblique_grid({20, 20, 20}, {1, 1, 1});
  EXPECT_THROW((void)ball_mask(grid, grid.lps_from_index({500, 0, 0}), 5), BadInput);
  EXPECT_THROW((void)ball_mask(grid, grid.lps_from_index({1e12, 0, 0}), 5), BadInput);
  EXPECT_THROW((void)ball_mask(grid, grid.origin_lps_mm, -1), BadInput);
  EXPECT_THROW((void)ball_mask(grid, {std::nan(""), 0, 0}, 5), BadInput);
}

TEST(Mask, TheBoxComesBackAsTheSameMask) {
  const Grid grid = oblique_grid({40, 30, 20}, {0.8, 0.9, 2.0});
  const Mask ball = ball_mask(grid, grid.lps_from_index({20, 15, 10}), 6);
  const Mask again = mask_from_box(box_from_mask(ball), grid);
  EXPECT_EQ(again.corner, ball.corner);
  EXPECT_EQ(again.box, ball.box);
  EXPECT_EQ(again.inside, ball.inside);
  EXPECT_EQ(mask_from_labels(labels_from_mask(ball), grid).inside, ball.inside);
}

TEST(Mask, ConnectedMeansTwentySixNeighboursOfOneMaterial) {
  Volume<std::uint8_t> labels = empty_labels(oblique_grid({10, 10, 10}, {1, 1, 1}));
  const auto set = [&](int i, int j, int k, Material m) { labels.values[labels.grid.offset(i, j, k)] = std::uint8_t(m); };
  set(2, 2, 2, Material::packing);
  set(3, 3, 3, Material::packing);   // touches by a corner
  set(5, 5, 5, Material::packing);   // does not touch
  set(4, 4, 4, Material::resin);     // another material between
  const Mask mask = connected_mask(labels, labels.grid.lps_from_index({2, 2, 2}));
  EXPECT_EQ(mask.voxel_count(), 2u);
  EXPECT_FALSE(mask.contains({5, 5, 5}));
}

TEST(Mask, ASeedInAirOrARegionTooLargeIsRefused) {
  Volume<std::uint8_t> labels = empty_labels(oblique_grid({10, 10, 10}, {1, 1, 1}));
  const Vec3 seed = labels.grid.lps_from_index({5, 5, 5});
  EXPECT_THROW((void)connected_mask(labels, seed), BadInput);
  std::ranges::fill(labels.values, std::uint8_t(Material::packing));
  EXPECT_THROW((void)connected_mask(labels, seed, 999), BadInput);
  EXPECT_EQ(connected_mask(labels, seed, 1000).voxel_count(), 1000u);
}

TEST(Mask, PiecesComeLargestFirstAndWithoutCrumbs) {
  Volume<std::uint8_t> labels = empty_labels(oblique_grid({30, 10, 10}, {1, 1, 1}));
  const auto fill = [&](int from, int to) {
    for (int i = from; i < to; ++i) labels.values[labels.grid.offset(i, 5, 5)] = std::uint8_t(Material::dense);
  };
  fill(0, 6), fill(10, 19), fill(25, 27);
  const auto pieces = material_pieces(labels, Material::dense, 5);
  ASSERT_EQ(pieces.size(), 2u);
  EXPECT_EQ(pieces[0].voxel_count(), 9u);
  EXPECT_EQ(pieces[1].voxel_count(), 6u);
}

/// A circle of `radius` round `centre` on slice k, as a polygon of many corners.
Outline circle(const Grid& grid, double i, double j, double k, double radius_mm) {
  Outline outline;
  for (int n = 0; n < 180; ++n) {
    const double a = 2 * M_PI * n / 180;
    outline.push_back(grid.lps_from_index({i + radius_mm * std::cos(a) / grid.spacing_mm.x(),
                                           j + radius_mm * std::sin(a) / grid.spacing_mm.y(), k}));
  }
  return outline;
}

TEST(Outlines, FillAConeBetweenTwoCircles) {
  const Grid grid = oblique_grid({80, 80, 30}, {0.5, 0.5, 1.0});
  const Mask mask = contours_mask(grid, {circle(grid, 40, 40, 5, 6), circle(grid, 40, 40, 15, 12)});
  // Frustum of height 10 plus half a voxel at each end.
  const double frustum = M_PI * 10 / 3 * (36 + 6 * 12 + 144), ends = M_PI * 0.5 * (36 + 144);
  EXPECT_NEAR(mask.volume_mm3(), frustum + ends, 0.02 * (frustum + ends));
}

TEST(Outlines, ALeaningColumnStaysWhole) {
  const Grid grid = oblique_grid({120, 40, 30}, {0.5, 0.5, 1.0});
  const Mask mask = contours_mask(grid, {circle(grid, 20.3, 20.4, 5, 4), circle(grid, 89.9, 19.7, 15, 4)});
  const double cylinder = M_PI * 16 * 11;
  EXPECT_NEAR(mask.volume_mm3(), cylinder, 0.03 * cylinder);
}

TEST(Outlines, BadOnesAreRefusedAndOddOnesTold) {
  const Grid grid = oblique_grid({80, 80, 40}, {0.5, 0.5, 1.0});
  const Outline good = circle(grid, 40, 40, 5, 6);
  EXPECT_THROW((void)contours_mask(grid, {}), BadInput);
  EXPECT_THROW((void)contours_mask(grid, {{good[0], good[1]}}), BadInput);
  Outline bent = good;
  bent[0] += 3 * grid.direction.col(2);
  EXPECT_THROW((void)contours_mask(grid, {bent}), BadInput);
  EXPECT_TRUE(outline_findings({good, circle(grid, 40, 40, 15, 6)}).empty());
  EXPECT_EQ(outline_findings({good, circle(grid, 40, 40, 25, 6)}).size(), 1u);
  Outline crossing = good;
  std::swap(crossing[10], crossing[60]);
  EXPECT_GE(outline_findings({crossing}).size(), 1u);
}

}  // namespace
}  // namespace leastharm
