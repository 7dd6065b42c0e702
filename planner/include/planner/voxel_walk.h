#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <type_traits>

#include "imaging/grid.h"

namespace leastharm {

/// Visits, in order, every voxel that a straight line meets between two depths, and says how much of the line lies in
/// it. Exact: the line is cut at the voxels' faces, each face's depth is computed afresh (no stepping, no drift).
/// `start_lps_mm` is depth 0, `direction` a unit vector in LPS. `visit(offset, voxel, from_mm, to_mm)` gets the voxel's
/// place in memory, its index, and the depths between which the line is inside; returning false ends the walk
/// (a `visit` that returns nothing goes on). Parts outside the grid are passed over.
template <typename Visit>
void walk_voxels(const Grid& grid, const Vec3& start_lps_mm, const Vec3& direction, double from_mm, double to_mm,
                 Visit&& visit) {
  const Vec3 c = grid.index_from_lps(start_lps_mm);
  const Vec3 d = (grid.direction.transpose() * direction).cwiseQuotient(grid.spacing_mm);
  constexpr double kNever = std::numeric_limits<double>::infinity();
  for (int a = 0; a < 3; ++a) {   // clip to the grid's box
    const double low = -0.5 - c[a], high = grid.size[static_cast<std::size_t>(a)] - 0.5 - c[a];
    if (d[a] == 0) {
      if (low > 0 || high <= 0) return;
      continue;
    }
    from_mm = std::max(from_mm, std::min(low / d[a], high / d[a]));
    to_mm = std::min(to_mm, std::max(low / d[a], high / d[a]));
  }
  if (!(from_mm < to_mm)) return;

  std::array<int, 3> v{}, step{};
  std::array<double, 3> inverse{}, next{};
  const std::array<std::ptrdiff_t, 3> stride{1, grid.size[0],
                                             static_cast<std::ptrdiff_t>(grid.size[0]) * grid.size[1]};
  std::ptrdiff_t offset = 0;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    v[a] = std::clamp(static_cast<int>(std::floor(c[e] + from_mm * d[e] + 0.5)), 0, grid.size[a] - 1);
    step[a] = d[e] > 0 ? 1 : -1;
    inverse[a] = d[e] == 0 ? 0 : 1 / d[e];
    next[a] = d[e] == 0 ? kNever : (v[a] + 0.5 * step[a] - c[e]) * inverse[a];
    offset += v[a] * stride[a];
  }
  for (double at = from_mm;;) {
    const std::size_t a = next[0] < next[1] ? (next[0] < next[2] ? 0u : 2u) : (next[1] < next[2] ? 1u : 2u);
    const double leave = std::min(next[a], to_mm);
    if (leave > at) {
      const VoxelIndex voxel{v[0], v[1], v[2]};
      if constexpr (std::is_void_v<decltype(visit(std::size_t{}, voxel, at, leave))>) {
        visit(static_cast<std::size_t>(offset), voxel, at, leave);
      } else {
        if (!visit(static_cast<std::size_t>(offset), voxel, at, leave)) return;
      }
      at = leave;
    }
    if (next[a] >= to_mm) return;
    v[a] += step[a];
    if (v[a] < 0 || v[a] >= grid.size[a]) return;
    offset += step[a] * stride[a];
    next[a] = (v[a] + 0.5 * step[a] - c[static_cast<Eigen::Index>(a)]) * inverse[a];
  }
}

}  // namespace leastharm
