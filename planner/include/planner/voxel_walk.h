#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <type_traits>
#include <utility>

#include "imaging/grid.h"

namespace leastharm {

/// Visits, in order, every voxel that a straight line meets between two depths, and says how much of the line lies in
/// it. Exact: the line is cut at the voxels' faces, each face's depth is computed afresh (no stepping, no drift).
/// The line is given in the grid's own index space: `c` is the continuous index of depth 0, `d` what one mm adds to it.
/// `visit(offset, voxel, from_mm, to_mm)` gets the voxel's place in memory, its index, and the depths between which the
/// line is inside; returning false ends the walk (a `visit` that returns nothing goes on). Parts outside the grid are
/// passed over.
template <typename Visit>
void walk_voxels_by_index(const std::array<int, 3>& size, const Vec3& c, const Vec3& d, double from_mm, double to_mm, Visit&& visit) {
  constexpr double kNever = std::numeric_limits<double>::infinity();
  std::array<double, 3> inverse{}, next{};
  for (std::size_t a = 0; a < 3; ++a) {   // clip to the grid's box
    const auto e = static_cast<Eigen::Index>(a);
    const double low = -0.5 - c[e], high = size[a] - 0.5 - c[e];
    if (d[e] == 0) {
      if (low > 0 || high <= 0) return;
      continue;
    }
    inverse[a] = 1 / d[e];
    from_mm = std::max(from_mm, std::min(low * inverse[a], high * inverse[a]));
    to_mm = std::min(to_mm, std::max(low * inverse[a], high * inverse[a]));
  }
  if (!(from_mm < to_mm)) return;

  std::array<int, 3> first{}, step{}, left{};   // where the walk begins, which way it goes, how many voxels lie ahead
  const std::array<std::ptrdiff_t, 3> stride{1, size[0], static_cast<std::ptrdiff_t>(size[0]) * size[1]};
  std::ptrdiff_t offset = 0;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    first[a] = std::clamp(static_cast<int>(std::floor(c[e] + from_mm * d[e] + 0.5)), 0, size[a] - 1);
    step[a] = d[e] > 0 ? 1 : -1;
    left[a] = d[e] > 0 ? size[a] - 1 - first[a] : first[a];
    next[a] = d[e] == 0 ? kNever : (first[a] + 0.5 * step[a] - c[e]) * inverse[a];
    offset += first[a] * stride[a];
  }
  VoxelIndex voxel{first[0], first[1], first[2]};
  for (double at = from_mm;;) {
    const std::size_t a = next[0] < next[1] ? (next[0] < next[2] ? 0u : 2u) : (next[1] < next[2] ? 1u : 2u);
    const double leave = std::min(next[a], to_mm);
    if (leave > at) {
      if constexpr (std::is_void_v<decltype(visit(std::size_t{}, voxel, at, leave))>) {
        visit(static_cast<std::size_t>(offset), voxel, at, leave);
      } else {
        if (!visit(static_cast<std::size_t>(offset), voxel, at, leave)) return;
      }
      at = leave;
    }
    if (next[a] >= to_mm || left[a]-- == 0) return;
    voxel.i += a == 0 ? step[0] : 0;
    voxel.j += a == 1 ? step[1] : 0;
    voxel.k += a == 2 ? step[2] : 0;
    offset += step[a] * stride[a];
    const int reached = a == 0 ? voxel.i : a == 1 ? voxel.j : voxel.k;
    next[a] = (reached + 0.5 * step[a] - c[static_cast<Eigen::Index>(a)]) * inverse[a];
  }
}

/// The same for a line in LPS: `start_lps_mm` is depth 0, `direction` a unit vector.
template <typename Visit>
void walk_voxels(const Grid& grid, const Vec3& start_lps_mm, const Vec3& direction, double from_mm, double to_mm,
                 Visit&& visit) {
  walk_voxels_by_index(grid.size, grid.index_from_lps(start_lps_mm), grid.index_way(direction), from_mm, to_mm,
                       std::forward<Visit>(visit));
}

}  // namespace leastharm
