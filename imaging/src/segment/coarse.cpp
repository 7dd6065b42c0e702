#include "coarse.h"

#include <algorithm>
#include <cmath>

#include "measure.h"
#include "parallel.h"

namespace leastharm::segment_detail {

Coarse coarse_grid(const Grid& fine, double tissue_mm3) {
  constexpr double kLargest_mm = 5, kBlocksAcross = 30;
  const double edge_mm = std::min(kLargest_mm, std::cbrt(tissue_mm3) / kBlocksAcross);
  Coarse coarse;
  for (std::size_t a = 0; a < 3; ++a) {
    const double spacing = fine.spacing_mm[static_cast<Eigen::Index>(a)];
    coarse.factor[a] = std::clamp(static_cast<int>(std::lround(edge_mm / spacing)), 1, 4);
    coarse.size[a] = (fine.size[a] + coarse.factor[a] - 1) / coarse.factor[a];
    coarse.spacing_mm[static_cast<Eigen::Index>(a)] = spacing * coarse.factor[a];
  }
  return coarse;
}

namespace {

/// Sums over one row of blocks.
struct RowSums {
  struct Block {
    unsigned voxels = 0, matter = 0, tissue = 0, mineral = 0;
    int sum = 0;
    double squares = 0;
  };
  std::vector<Block> blocks;

  void add(const std::uint8_t* level, const std::int16_t* hu, int shift, int width, int factor, const Thresholds& t) {
    for (int i = 0, b = 0; i < width; ++b) {
      Block& block = blocks[static_cast<std::size_t>(b)];
      const int end = std::min(i + factor, width);
      block.voxels += static_cast<unsigned>(end - i);
      for (; i < end; ++i) {
        const int v = level[i], h = hu[i] < kLowestReadingHu ? -1000 : hu[i] + shift;
        block.matter += v >= t.fibre, block.tissue += v >= t.tissue, block.mineral += v >= t.mineral;
        block.sum += h;
        block.squares += static_cast<double>(h * h);
      }
    }
  }
};

}  // namespace

Shares shares_of(const Volume<std::int16_t>& hu, double air_hu, const Volume<std::uint8_t>& levels,
                 const Coarse& coarse, const Thresholds& thresholds, int threads) {
  Shares shares;
  for (auto* v : {&shares.matter, &shares.tissue, &shares.mineral}) v->resize(coarse.count());
  shares.mean_hu.resize(coarse.count());
  shares.deviation_hu.resize(coarse.count());
  const int shift = static_cast<int>(std::lround(-1000 - air_hu));
  for_chunks(coarse.size[2], 1, threads, [&](int layer, int, int) {
    RowSums sums;
    for (int block_row = 0; block_row < coarse.size[1]; ++block_row) {
      sums.blocks.assign(static_cast<std::size_t>(coarse.size[0]), {});
      const int k_end = std::min((layer + 1) * coarse.factor[2], levels.grid.size[2]);
      const int j_end = std::min((block_row + 1) * coarse.factor[1], levels.grid.size[1]);
      for (int k = layer * coarse.factor[2]; k < k_end; ++k)
        for (int j = block_row * coarse.factor[1]; j < j_end; ++j) {
          const std::size_t row = levels.grid.offset(0, j, k);
          sums.add(levels.values.data() + row, hu.values.data() + row, shift, levels.grid.size[0], coarse.factor[0],
                   thresholds);
        }
      for (std::size_t b = 0; b < sums.blocks.size(); ++b) {
        const RowSums::Block& block = sums.blocks[b];
        const std::size_t at = coarse.offset(0, block_row, layer) + b;
        const auto share = [&](unsigned n) { return static_cast<std::uint8_t>(n * 255 / block.voxels); };
        const double mean = static_cast<double>(block.sum) / block.voxels;
        shares.matter[at] = share(block.matter);
        shares.tissue[at] = share(block.tissue);
        shares.mineral[at] = share(block.mineral);
        shares.mean_hu[at] = static_cast<std::int16_t>(std::lround(mean));
        shares.deviation_hu[at] =
            static_cast<std::uint16_t>(std::lround(std::sqrt(std::max(0.0, block.squares / block.voxels - mean * mean))));
      }
    }
  });
  return shares;
}

}  // namespace leastharm::segment_detail
