#include "surface_file.h"

#include <gtest/gtest.h>

#include <cstring>
#include <map>
#include <numbers>
#include <set>

#include "imaging/error.h"
#include "support/file_bytes.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using Triangle = std::array<Eigen::Vector3f, 3>;

/// Binary STL: 80 bytes of header, the count, then 50 bytes a triangle (normal, three corners, two bytes of nothing).
std::vector<Triangle> read_stl(const std::filesystem::path& path) {
  const std::string bytes = test::read_bytes(path);
  std::uint32_t count = 0;
  std::memcpy(&count, bytes.data() + 80, 4);
  std::vector<Triangle> triangles(count);
  for (std::size_t n = 0; n < count; ++n)
    for (std::size_t corner = 0; corner < 3; ++corner)
      std::memcpy(triangles[n][corner].data(), bytes.data() + 84 + 50 * n + 12 * (corner + 1), 12);
  EXPECT_EQ(bytes.size(), 84 + 50 * std::size_t{count});
  return triangles;
}

// By the divergence theorem: positive where the normals point outward.
double enclosed_mm3(const std::vector<Triangle>& triangles, const Vec3& near) {
  double sum = 0;
  for (const Triangle& t : triangles) {
    const Vec3 a = t[0].cast<double>() - near, b = t[1].cast<double>() - near, c = t[2].cast<double>() - near;
    sum += a.dot(b.cross(c)) / 6;
  }
  return sum;
}

TEST(SurfaceFile, OfABallEnclosesItsVolumeInItsPlace) {
  const test::ScratchFolder folder;
  Grid grid = test::oblique_grid(60, 50, 40);
  const Vec3 centre = grid.lps_from_index({29, 24, 19});
  write_surface(ball_mask(grid, centre, 14), folder / "ball.stl");
  const auto triangles = read_stl(folder / "ball.stl");
  EXPECT_NEAR(enclosed_mm3(triangles, centre), 4.0 / 3 * std::numbers::pi * std::pow(14, 3), 0.01 * 11494);
  for (const Triangle& t : triangles) EXPECT_NEAR((t[0].cast<double>() - centre).norm(), 14, 1.25);
}

TEST(SurfaceFile, IsClosedAlsoAtTheGridsRim) {
  const test::ScratchFolder folder;
  const Grid grid = test::oblique_grid(12, 10, 8);
  write_surface(ball_mask(grid, grid.origin_lps_mm, 6), folder / "corner.stl");
  std::map<std::pair<std::array<float, 3>, std::array<float, 3>>, int> edges;
  for (const Triangle& t : read_stl(folder / "corner.stl"))
    for (std::size_t n = 0; n < 3; ++n) {
      const auto &a = t[n], &b = t[(n + 1) % 3];
      ++edges[{{a.x(), a.y(), a.z()}, {b.x(), b.y(), b.z()}}];
      --edges[{{b.x(), b.y(), b.z()}, {a.x(), a.y(), a.z()}}];
    }
  for (const auto& [edge, balance] : edges) EXPECT_EQ(balance, 0);
}

TEST(SurfaceFile, OfNothingOrNowhereIsRefused) {
  const test::ScratchFolder folder;
  const Grid grid = test::oblique_grid();
  EXPECT_THROW(write_surface({.grid = grid}, folder / "none.stl"), BadInput);
  EXPECT_THROW(write_surface(ball_mask(grid, grid.origin_lps_mm, 5), folder / "no/where.stl"), BadInput);
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

}  // namespace
}  // namespace leastharm
