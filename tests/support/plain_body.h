#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <functional>
#include <random>

#include "imaging/grid.h"
#include "imaging/material.h"

namespace leastharm::test {

/// A scan of an invented solid whose materials have one HU each: the plainest thing that a map must get right.
struct PlainBody {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> truth;
};

/// One HU a material (air, wrapping, body, packing, bone, resin, dense, support): linen and sawdust at 0.3 and 0.25 g/cm3,
/// dried tissue, cortical bone, conifer resin, stone, softwood; monoenergetic at about 70 keV.
inline constexpr PerMaterial<int> kPlainHu{-1000, -700, 80, -770, 900, 15, 2200, -540};

/// Scans `what` (a material for each point, mm, in the grid's own axes about its middle): eight samples a voxel, the
/// commonest is its truth, the mean HU gets Gaussian noise.
inline PlainBody scan_plain(const Grid& grid, double noise_hu, unsigned seed,
                            const std::function<Material(const Vec3&)>& what,
                            const PerMaterial<int>& hu_of = kPlainHu) {
  PlainBody body{{grid, std::vector<std::int16_t>(grid.voxel_count())}, {grid, std::vector<std::uint8_t>(grid.voxel_count())}};
  std::mt19937 engine(seed);
  std::normal_distribution<double> noise(0, noise_hu);
  const Vec3 middle = 0.5 * grid.spacing_mm.cwiseProduct(Vec3(grid.size[0] - 1, grid.size[1] - 1, grid.size[2] - 1));
  std::size_t v = 0;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i, ++v) {
        PerMaterial<int> votes{};
        double sum = 0;
        for (int s = 0; s < 8; ++s) {
          const Vec3 index(i + (s & 1 ? 0.25 : -0.25), j + (s & 2 ? 0.25 : -0.25), k + (s & 4 ? 0.25 : -0.25));
          const auto m = static_cast<std::size_t>(what(grid.spacing_mm.cwiseProduct(index) - middle));
          ++votes[m];
          sum += hu_of[m];
        }
        body.truth.values[v] = static_cast<std::uint8_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
        body.hu.values[v] = static_cast<std::int16_t>(std::clamp(std::lround(sum / 8 + noise(engine)), -1024L, 3071L));
      }
  return body;
}

}  // namespace leastharm::test
