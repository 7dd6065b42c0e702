#include "pyramid.h"

#include <algorithm>
#include <cmath>

#include "segment/parallel.h"

namespace leastharm::registration_detail {
namespace {

using segment_detail::for_chunks;
using segment_detail::worker_count;

std::array<int, 3> factors_for(const Grid& grid, double spacing_mm) {
  std::array<int, 3> factor{};
  for (std::size_t a = 0; a < 3; ++a)
    factor[a] = std::clamp(static_cast<int>(std::lround(spacing_mm / grid.spacing_mm[static_cast<Eigen::Index>(a)])),
                           1, grid.size[a]);
  return factor;
}

Grid grid_of_blocks(const Grid& fine, const std::array<int, 3>& factor) {
  Grid grid = fine;
  Vec3 first;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    grid.size[a] = fine.size[a] / factor[a];   // a last, incomplete block is left out
    grid.spacing_mm[e] = fine.spacing_mm[e] * factor[a];
    first[e] = (factor[a] - 1) / 2.0;
  }
  grid.origin_lps_mm = fine.lps_from_index(first);
  return grid;
}

/// Mean of `value` over each block; `value` takes a fine voxel's offset.
template <typename Out, typename Value>
std::vector<Out> block_means(const Grid& fine, const Grid& grid, int threads, Value value) {
  std::vector<Out> means(grid.voxel_count());
  std::array<int, 3> f{};
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    f[a] = static_cast<int>(std::lround(grid.spacing_mm[e] / fine.spacing_mm[e]));
  }
  const double voxels = static_cast<double>(f[0]) * f[1] * f[2];
  for_chunks(grid.size[2], 1, worker_count(threads), [&](int, int first, int last) {
    for (int k = first; k < last; ++k)
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i) {
          double sum = 0;
          for (int c = 0; c < f[2]; ++c)
            for (int b = 0; b < f[1]; ++b) {
              const std::size_t row = fine.offset(i * f[0], j * f[1] + b, k * f[2] + c);
              for (int a = 0; a < f[0]; ++a) sum += value(row + static_cast<std::size_t>(a));
            }
          means[grid.offset(i, j, k)] = static_cast<Out>(sum / voxels);
        }
  });
  return means;
}

/// 1-2-1 along one axis; the border repeats its last voxel.
void smooth_along(const Grid& grid, std::size_t axis, std::vector<float>& values, int threads) {
  const int n = grid.size[axis];
  if (n < 2) return;
  const auto stride = static_cast<std::size_t>(grid.strides()[axis]);
  const std::size_t u = axis == 0 ? 1 : 0, v = axis == 2 ? 1 : 2;
  for_chunks(grid.size[v], 1, worker_count(threads), [&](int, int first, int last) {
    for (int b = first; b < last; ++b)
      for (int a = 0; a < grid.size[u]; ++a) {
        std::array<int, 3> at{};
        at[u] = a, at[v] = b;
        float* p = values.data() + grid.offset(at[0], at[1], at[2]);
        float before = p[0];
        for (int c = 0; c < n; ++c, p += stride) {
          const float here = p[0], after = c + 1 < n ? p[stride] : here;
          p[0] = 0.25f * before + 0.5f * here + 0.25f * after;
          before = here;
        }
      }
  });
}

}  // namespace

Level make_level(const Volume<std::int16_t>& hu, double spacing_mm, int threads) {
  Level level{grid_of_blocks(hu.grid, factors_for(hu.grid, spacing_mm)), {}};
  level.hu = block_means<float>(hu.grid, level.grid, threads, [&](std::size_t n) {
    return std::clamp(static_cast<float>(hu.values[n]), kAirHu, kMostHu);   // no reading counts as air
  });
  for (std::size_t axis = 0; axis < 3; ++axis) smooth_along(level.grid, axis, level.hu, threads);
  return level;
}

std::vector<std::uint8_t> share_of(const Volume<std::uint8_t>& labels, const Level& level,
                                   const std::vector<bool>& wanted, int threads) {
  return block_means<std::uint8_t>(labels.grid, level.grid, threads, [&](std::size_t n) {
    return labels.values[n] < wanted.size() && wanted[labels.values[n]] ? 255.0 : 0.0;
  });
}

Reader::Reader(const Level& level)
    : hu_(level.hu.data()),
      size_(level.grid.size),
      row_(level.grid.size[0]),
      slice_(static_cast<std::ptrdiff_t>(level.grid.size[0]) * level.grid.size[1]),
      index_from_offset_(level.grid.spacing_mm.cwiseInverse().asDiagonal() * level.grid.direction.transpose()),
      slope_from_index_(level.grid.direction * level.grid.spacing_mm.cwiseInverse().asDiagonal()),
      origin_(level.grid.origin_lps_mm) {}

Reading Reader::at(const Vec3& lps_mm) const {
  const Vec3 c = index_from_offset_ * (lps_mm - origin_);
  std::array<int, 3> low{};
  Vec3 f;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    if (!(c[e] >= 0 && c[e] <= size_[a] - 1)) return {};
    low[a] = std::min(static_cast<int>(c[e]), std::max(0, size_[a] - 2));
    f[e] = c[e] - low[a];
  }
  const std::ptrdiff_t di = size_[0] > 1 ? 1 : 0, dj = size_[1] > 1 ? row_ : 0, dk = size_[2] > 1 ? slice_ : 0;
  const float* p = hu_ + low[0] + low[1] * row_ + low[2] * slice_;
  const double x = f[0], y = f[1], z = f[2];
  const double d00 = p[di] - p[0], d10 = p[di + dj] - p[dj], d01 = p[di + dk] - p[dk],
               d11 = p[di + dj + dk] - p[dj + dk];
  const double a00 = p[0] + x * d00, a10 = p[dj] + x * d10, a01 = p[dk] + x * d01, a11 = p[dj + dk] + x * d11;
  const double b0 = a00 + y * (a10 - a00), b1 = a01 + y * (a11 - a01);
  const Vec3 by_index((1 - z) * ((1 - y) * d00 + y * d10) + z * ((1 - y) * d01 + y * d11),
                      (1 - z) * (a10 - a00) + z * (a11 - a01), b1 - b0);
  return {true, b0 + z * (b1 - b0), slope_from_index_ * by_index};
}

}  // namespace leastharm::registration_detail
