#include "field_maxima.h"

#include <algorithm>
#include <cmath>

#include "gradient_hulls.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kBlockMm = 1.4;

}  // namespace

FieldMaxima::FieldMaxima(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement) {
  Level level;
  const Vec3 node = field.node_spacing_mm();
  std::array<int, 3> per_block, reach;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    per_block[a] = std::max(1, static_cast<int>(std::lround(kBlockMm / node[e])));
    level.size[a] = (field.nodes()[a] - 1) / per_block[a] + 1;
    level.spacing_mm[e] = node[e] * per_block[a];
    level.inverse[a] = static_cast<float>(1 / level.spacing_mm[e]);
  }
  level.radius_mm = level.spacing_mm.minCoeff() / 2;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    reach[a] = static_cast<int>(std::ceil((level.spacing_mm[e] / 2 + level.radius_mm) / node[e] - 1e-6));
  }
  level.stride_j = level.size[0];
  level.stride_k = level.stride_j * level.size[1];
  level.values.assign(static_cast<std::size_t>(level.stride_k * level.size[2]), 0.0f);
  const auto links = link_errors(voxels, refinement);
  const auto link_at = [&](int i, int j, int k) {
    const std::size_t v = voxels.grid.offset(std::min(i / refinement.factor[0], voxels.grid.size[0] - 1),
                                             std::min(j / refinement.factor[1], voxels.grid.size[1] - 1),
                                             std::min(k / refinement.factor[2], voxels.grid.size[2] - 1));
    return std::max({links[0][v], links[1][v], links[2][v]});
  };
  for_each_chunk(static_cast<std::size_t>(level.size[2]), 1, [&](std::size_t bk, std::size_t) {
    const auto range = [&](int block, std::size_t a) {
      return std::pair{std::max(0, block * per_block[a] - reach[a]), std::min(field.nodes()[a] - 1, block * per_block[a] + reach[a])};
    };
    const auto [k0, k1] = range(static_cast<int>(bk), 2);
    for (int bj = 0; bj < level.size[1]; ++bj)
      for (int bi = 0; bi < level.size[0]; ++bi) {
        const auto [j0, j1] = range(bj, 1);
        const auto [i0, i1] = range(bi, 0);
        float most = 0;
        for (int k = k0; k <= k1; ++k)
          for (int j = j0; j <= j1; ++j)
            for (int i = i0; i <= i1; ++i)
              if (const float v = field.node(i, j, k); v > 0) most = std::max(most, v + link_at(i, j, k));
        level.values[static_cast<std::size_t>(bi + level.stride_j * bj) + static_cast<std::size_t>(level.stride_k) * bk] = most;
      }
  });
  for (const float v : level.values) most_ = std::max(most_, v);
  levels_.push_back(std::move(level));
  make_next(1);
  while (levels_.back().radius_mm < 12) make_next(2);
}

void FieldMaxima::make_next(int stride) {
  const Level& from = levels_.back();
  Level level;
  level.spacing_mm = from.spacing_mm * stride;
  level.radius_mm = from.radius_mm + (1.5 * from.spacing_mm - 0.5 * level.spacing_mm).minCoeff();
  for (std::size_t a = 0; a < 3; ++a) {
    level.size[a] = (from.size[a] - 1) / stride + 1;
    level.inverse[a] = from.inverse[a] / static_cast<float>(stride);
  }
  level.stride_j = level.size[0];
  level.stride_k = level.stride_j * level.size[1];
  level.values.assign(static_cast<std::size_t>(level.stride_k * level.size[2]), 0.0f);
  for_each_chunk(static_cast<std::size_t>(level.size[2]), 1, [&](std::size_t bk, std::size_t) {
    for (int bj = 0; bj < level.size[1]; ++bj)
      for (int bi = 0; bi < level.size[0]; ++bi) {
        float most = 0;
        const int k0 = static_cast<int>(bk) * stride;
        for (int k = std::max(0, k0 - 1); k <= std::min(from.size[2] - 1, k0 + 1); ++k)
          for (int j = std::max(0, bj * stride - 1); j <= std::min(from.size[1] - 1, bj * stride + 1); ++j)
            for (int i = std::max(0, bi * stride - 1); i <= std::min(from.size[0] - 1, bi * stride + 1); ++i)
              most = std::max(most, from.values[static_cast<std::size_t>(i + from.stride_j * j + from.stride_k * k)]);
        level.values[static_cast<std::size_t>(bi + level.stride_j * bj) + static_cast<std::size_t>(level.stride_k) * bk] = most;
      }
  });
  levels_.push_back(std::move(level));
}

}  // namespace leastharm
