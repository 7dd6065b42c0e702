// The window's fast cut against the printout's plain one.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "support/grids.h"
#include "support/made_body.h"
#include "window/plane_cut.h"

namespace leastharm {
namespace {

struct World {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials, confidence;
  Body body;

  World() {
    const auto made = test::made_body();
    hu = made.hu;
    materials = made.materials;
    // The same voxels in an oblique, unevenly spaced, shifted grid.
    hu.grid = materials.grid = test::oblique_grid(made.hu.grid.size, {1.3, 1.7, 3.1});
    hu.values[hu.grid.offset(40, 40, 30)] = kNoReadingHu;
    confidence = {hu.grid, std::vector<std::uint8_t>(hu.values.size(), 200)};
    body.grid = hu.grid;
    body.hu = hu.values;
    body.materials = materials.values;
    body.confidence = confidence.values;
  }
  [[nodiscard]] SlicePlane plane() const {
    const Vec3 right = Vec3(1, 0.3, -0.2).normalized(),
               down = Vec3(0.2, 0.4, 1.6).cross(right).normalized();
    const Vec3 centre = hu.grid.lps_from_index(Vec3(40, 40, 30));
    SlicePlane plane{.corner_lps_mm = centre - 70 * right - 60 * down,
                     .right = right,
                     .down = down,
                     .mm_per_px = 0.7,
                     .width = 200,
                     .height = 171};
    return plane;
  }
};

TEST(PlaneCut, IsThePrintoutsCutPixelByPixel) {
  const World world;
  const SlicePlane plane = world.plane();
  const GreyScale scale{-1000, 500};
  const Slice expected = cut(world.body, plane, scale);
  PlaneCut made;
  cut_plane(world.body, plane, true, made);
  std::size_t unmeasured = 0;
  for (std::size_t n = 0; n < expected.grey.size(); ++n) {
    ASSERT_EQ(made.material[n] != kUnmeasured, expected.measured[n] != 0) << n;
    if (made.material[n] == kUnmeasured) {
      ++unmeasured;
      continue;
    }
    const double grey = 255 * std::clamp((made.hu[n] + 1000) / 1500.0, 0.0, 1.0);
    ASSERT_NEAR(grey, expected.grey[n], 0.51) << n;
    ASSERT_EQ(made.material[n], expected.material[n]) << n;
    ASSERT_EQ(made.confidence[n], 200);
  }
  EXPECT_GT(unmeasured, 0u) << "a voxel without a reading lies in the plane";
}

TEST(PlaneCut, ShowsBlackAndWhiteAtTheEndsOfTheInterval) {
  const World world;
  PlaneCut made;
  cut_plane(world.body, world.plane(), false, made);
  std::vector<std::uint32_t> pixels(made.hu.size());
  paint_cut(made, {.scale = {-500, 0}, .outlines = false}, pixels);
  for (std::size_t n = 0; n < pixels.size(); ++n) {
    if (made.material[n] == kUnmeasured) continue;
    if (made.hu[n] <= -500) {
      EXPECT_EQ(pixels[n], 0u);
    }
    if (made.hu[n] >= 0) {
      EXPECT_EQ(pixels[n], 0xFFFFFFu);
    }
  }
}

TEST(PlaneCut, HatchesEveryMaterialInAWayOfItsOwn) {
  // One material a picture: no two may look alike, colour taken away.
  std::vector<std::vector<int>> patterns;
  for (const Material m : {Material::wrapping, Material::body, Material::packing, Material::bone,
                           Material::resin, Material::support}) {
    PlaneCut made;
    made.plane.width = made.plane.height = 48;
    made.hu.assign(48 * 48, 0);
    made.material.assign(48 * 48, static_cast<std::uint8_t>(m));
    made.confidence.assign(48 * 48, 255);
    std::vector<std::uint32_t> pixels(48 * 48);
    paint_cut(made, {.scale = {-1000, 1000}, .hatches = true, .outlines = false}, pixels);
    std::vector<int> pattern;
    std::map<std::uint32_t, int> counts;
    for (const std::uint32_t pixel : pixels) ++counts[pixel];
    const std::uint32_t ground =
        std::ranges::max_element(counts, {}, [](const auto& entry) { return entry.second; })->first;
    EXPECT_EQ(counts.size(), 2u) << "a tint and its hatch";
    for (const std::uint32_t pixel : pixels) pattern.push_back(pixel == ground ? 0 : 1);
    for (const auto& other : patterns) EXPECT_NE(pattern, other);
    patterns.push_back(pattern);
  }
}

TEST(PlaneCut, SpecksGrowWithDoubt) {
  PlaneCut made;
  made.plane.width = made.plane.height = 64;
  made.hu.assign(64 * 64, -500);
  made.material.assign(64 * 64, 2);
  std::vector<std::uint32_t> pixels(64 * 64);
  std::ptrdiff_t former = -1;
  for (const int confidence : {255, 192, 128, 64, 0}) {
    made.confidence.assign(64 * 64, static_cast<std::uint8_t>(confidence));
    paint_cut(made, {.scale = {-1000, 1000}, .confidence = true, .outlines = false}, pixels);
    const auto specks = std::ranges::count(pixels, 0xF4F1EAu);
    EXPECT_GT(specks, former);
    EXPECT_NEAR(static_cast<double>(specks) / 4096, 1 - confidence / 255.0, 0.04);
    former = specks;
  }
}

TEST(PlaneCut, ACoarserPlaneHasItsPixelsInTheMiddleOfTheFineOnes) {
  const SlicePlane fine = World().plane(), coarse = fine.coarser(2);
  EXPECT_EQ(coarse.width, 100);
  EXPECT_EQ(coarse.height, 86) << "the last row stands for one";
  EXPECT_LT((coarse.at(7, 9) - (fine.at(14, 18) + fine.at(15, 19)) / 2).norm(), 1e-9);
}

TEST(PlaneCut, ACoarsePictureIsDoubledPixelByPixel) {
  constexpr std::size_t kWidth = 403, kHeight = 301;  // odd, and enough for two threads
  std::vector<std::uint32_t> coarse(202 * 151), fine(kWidth * kHeight);
  for (std::size_t n = 0; n < coarse.size(); ++n) coarse[n] = static_cast<std::uint32_t>(n * 2654435761u);
  double_pixels(coarse, kWidth, fine);
  for (std::size_t row = 0; row < kHeight; ++row)
    for (std::size_t column = 0; column < kWidth; ++column)
      ASSERT_EQ(fine[row * kWidth + column], coarse[row / 2 * 202 + column / 2]) << column << ", " << row;
}

}  // namespace
}  // namespace leastharm
