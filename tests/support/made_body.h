#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <cstdint>

#include "imaging/grid.h"
#include "imaging/material.h"

namespace leastharm::test {

/// A trunk that is quick to compute on, with its true map: wrapped, a packing column on each side of the spine, an amulet
/// on the left under the wrapping, a board below. Supine, head first: head +z, front -y, left +x.
struct MadeBody {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials;
  Vec3 left_packing_lps_mm, right_packing_lps_mm, amulet_lps_mm;
};

inline MadeBody made_body(const Vec3& amulet_lps_mm = {40, -46, 260}) {
  Grid grid;
  grid.size = {110, 84, 60};
  grid.spacing_mm = {2, 2, 3};
  grid.origin_lps_mm = {-109, -83, 200};
  MadeBody body{{grid, std::vector<std::int16_t>(grid.voxel_count())},
                {grid, std::vector<std::uint8_t>(grid.voxel_count())},
                {30, 5, 290}, {-30, 5, 290}, amulet_lps_mm};
  const auto ellipse = [](double x, double y, double a, double b) { return x * x / (a * a) + y * y / (b * b); };
  const auto material_at = [&](const Vec3& p) {
    const double x = p.x(), y = p.y();
    if (std::abs(p.z() - 290) > 80) return Material::air;
    if ((p - body.amulet_lps_mm).norm() < 5) return Material::dense;
    if (ellipse(x, y - 34, 13, 13) < 1) return Material::bone;
    if (ellipse(std::abs(x) - 32, y - 4, 17, 26) < 1 && std::abs(p.z() - 290) < 68) return Material::packing;
    if (ellipse(x, y, 64, 42) < 1) return Material::air;
    if (ellipse(x, y, 72, 50) < 1) return Material::body;
    if (ellipse(x, y, 82, 60) < 1) return Material::wrapping;
    if (y > 61 && y < 72 && std::abs(x) < 95) return Material::support;
    return Material::air;
  };
  constexpr std::int16_t kHu[] = {-1000, -650, 80, -750, 900, 20, 2600, -500};
  std::uint32_t state = 12345;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const Material m = material_at(grid.lps_from_index({double(i), double(j), double(k)}));
        state = state * 1664525u + 1013904223u;   // Numerical Recipes' generator: a little noise, always the same
        const auto noise = static_cast<std::int16_t>(static_cast<int>(state >> 24) % 21 - 10);
        body.hu.values[grid.offset(i, j, k)] = static_cast<std::int16_t>(kHu[static_cast<int>(m)] + noise);
        body.materials.values[grid.offset(i, j, k)] = static_cast<std::uint8_t>(m);
      }
  return body;
}

}  // namespace leastharm::test
