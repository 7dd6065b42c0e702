#include "coarse.h"

#include <algorithm>
#include <cmath>

#include "denoise.h"
#include "parallel.h"

namespace leastharm::segment_detail {

Coarse coarse_grid(const Grid& fine) {
  Coarse coarse;
  for (std::size_t a = 0; a < 3; ++a) {
    const double spacing = fine.spacing_mm[static_cast<Eigen::Index>(a)];
    coarse.factor[a] = std::clamp(static_cast<int>(std::lround(5.0 / spacing)), 1, 4);
    coarse.size[a] = (fine.size[a] + coarse.factor[a] - 1) / coarse.factor[a];
    coarse.spacing_mm[static_cast<Eigen::Index>(a)] = spacing * coarse.factor[a];
  }
  return coarse;
}

namespace {

/// Adds one row of levels to its blocks' counts: matter, tissue, mineral, metal, and the sum of levels.
struct RowSums {
  std::vector<std::uint16_t> matter, tissue, mineral, metal, level, voxels;

  void reset(std::size_t blocks) {
    for (auto* v : {&matter, &tissue, &mineral, &metal, &level, &voxels}) v->assign(blocks, 0);
  }
  void add(const std::uint8_t* row, int width, int factor, const Thresholds& t) {
    for (int i = 0, block = 0; i < width; ++block) {
      const auto b = static_cast<std::size_t>(block);
      unsigned m = 0, s = 0, n = 0, d = 0, sum = 0;
      const int end = std::min(i + factor, width);
      voxels[b] = static_cast<std::uint16_t>(voxels[b] + (end - i));
      for (; i < end; ++i) {
        const int v = row[i];
        m += v >= t.fibre, s += v >= t.tissue, n += v >= t.mineral, d += v >= t.metal;
        sum += static_cast<unsigned>(v);
      }
      matter[b] = static_cast<std::uint16_t>(matter[b] + m);
      tissue[b] = static_cast<std::uint16_t>(tissue[b] + s);
      mineral[b] = static_cast<std::uint16_t>(mineral[b] + n);
      metal[b] = static_cast<std::uint16_t>(metal[b] + d);
      level[b] = static_cast<std::uint16_t>(level[b] + sum);
    }
  }
};

}  // namespace

Shares shares_of(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Thresholds& thresholds,
                 int threads) {
  Shares shares;
  for (auto* v : {&shares.matter, &shares.tissue, &shares.mineral, &shares.metal})
    v->resize(coarse.count());
  shares.mean_hu.resize(coarse.count());
  for_chunks(coarse.size[2], 1, threads, [&](int layer, int, int) {
    RowSums sums;
    for (int block_row = 0; block_row < coarse.size[1]; ++block_row) {
      sums.reset(static_cast<std::size_t>(coarse.size[0]));
      const int k_end = std::min((layer + 1) * coarse.factor[2], levels.grid.size[2]);
      const int j_end = std::min((block_row + 1) * coarse.factor[1], levels.grid.size[1]);
      for (int k = layer * coarse.factor[2]; k < k_end; ++k)
        for (int j = block_row * coarse.factor[1]; j < j_end; ++j)
          sums.add(levels.values.data() + levels.grid.offset(0, j, k), levels.grid.size[0], coarse.factor[0],
                   thresholds);
      for (std::size_t b = 0; b < static_cast<std::size_t>(coarse.size[0]); ++b) {
        const std::size_t at = coarse.offset(0, block_row, layer) + b;
        const auto share = [&](unsigned n) { return static_cast<std::uint8_t>(n * 255 / sums.voxels[b]); };
        shares.matter[at] = share(sums.matter[b]);
        shares.tissue[at] = share(sums.tissue[b]);
        shares.mineral[at] = share(sums.mineral[b]);
        shares.metal[at] = share(sums.metal[b]);
        shares.mean_hu[at] = static_cast<std::int16_t>(sums.level[b] * kHuPerLevel / sums.voxels[b] - 1024);
      }
    }
  });
  return shares;
}

}  // namespace leastharm::segment_detail
