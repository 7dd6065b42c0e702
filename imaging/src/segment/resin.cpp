#include "resin.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <vector>

#include "denoise.h"
#include "regions.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kLowest_hu = -130, kHighest_hu = 120;
constexpr double kEvenShare = 0.45;      ///< resin varies at most this much of what tissue does
constexpr double kMostVariation_hu = 24; ///< and at most this much
constexpr double kLeastVolume_mm3 = 1200;
constexpr double kLeastFree = 0.05;      ///< share of the blocks around a pool that are mostly air or fibre
constexpr int kLeastContrast_hu = 40;    ///< by which resin differs from tissue as even as itself
constexpr double kLiving_hu = 24;        ///< the variation of tissue in a living or plastic body stays below this

bool whole_tissue(const Shares& shares, std::size_t v) { return shares.tissue[v] == 255 && shares.mineral[v] == 0; }

double median(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

bool TissueTexture::even() const { return typical_hu > 0 && typical_hu < kLiving_hu; }

TissueTexture tissue_texture(const Coarse& coarse, const Shares& shares, double noise_hu) {
  constexpr std::size_t kLeastBlocks = 200;
  std::vector<std::uint8_t> set(coarse.count());
  for (std::size_t v = 0; v < set.size(); ++v) set[v] = whole_tissue(shares, v);
  TissueTexture texture;
  texture.variation_hu = variation_hu(coarse, shares, set, noise_hu);
  std::vector<double> all;
  for (const float v : texture.variation_hu)
    if (std::isfinite(v)) all.push_back(static_cast<double>(v));
  if (all.size() >= kLeastBlocks) texture.typical_hu = std::max(1.0, median(all));
  return texture;
}

namespace {

struct Pool {
  std::vector<std::size_t> blocks, ring;
  int lowest = 0, highest = 0;   ///< levels
};

std::vector<std::uint8_t> even_blocks(const Coarse& coarse, const Shares& shares, const TissueTexture& tissue,
                                      int tissue_hu) {
  const auto most = static_cast<float>(tissue.even() ? kMostVariation_hu : std::min(kMostVariation_hu, kEvenShare * tissue.typical_hu));
  const int contrast = tissue.even() ? kLeastContrast_hu : 0;
  std::vector<std::uint8_t> even(coarse.count());
  for (std::size_t v = 0; v < even.size(); ++v)
    even[v] = tissue.variation_hu[v] <= most && shares.mean_hu[v] >= kLowest_hu && shares.mean_hu[v] <= kHighest_hu &&
              std::abs(shares.mean_hu[v] - tissue_hu) >= contrast;
  return even;
}

/// Of a voxel's 26 neighbours and itself, the share within the pool's levels.
bool mostly_within(const Volume<std::uint8_t>& levels, const Pool& pool, std::size_t v) {
  const Grid& grid = levels.grid;
  const auto w = static_cast<std::size_t>(grid.size[0]), slice = w * static_cast<std::size_t>(grid.size[1]);
  const int i = static_cast<int>(v % w), j = static_cast<int>(v % slice / w), k = static_cast<int>(v / slice);
  int within = 0, all = 0;
  for (int c = std::max(0, k - 1); c <= std::min(grid.size[2] - 1, k + 1); ++c)
    for (int b = std::max(0, j - 1); b <= std::min(grid.size[1] - 1, j + 1); ++b)
      for (int a = std::max(0, i - 1); a <= std::min(grid.size[0] - 1, i + 1); ++a) {
        const int level = levels.values[grid.offset(a, b, c)];
        ++all;
        within += level >= pool.lowest && level <= pool.highest;
      }
  return within * 100 >= all * 55;
}

void label_pool(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool,
                Volume<std::uint8_t>& codes) {
  const auto tissue = [&](std::size_t v) { return (codes.values[v] & code::kMaterial) == label(Material::body); };
  for (const std::size_t block : pool.blocks)
    for_voxels(coarse, levels.grid, block, [&](std::size_t v) {
      if (tissue(v)) codes.values[v] = label(Material::resin);
    });
  for (const std::size_t block : pool.ring)
    for_voxels(coarse, levels.grid, block, [&](std::size_t v) {
      if (tissue(v) && levels.values[v] >= pool.lowest && levels.values[v] <= pool.highest &&
          mostly_within(levels, pool, v))
        codes.values[v] = label(Material::resin);
    });
}

/// The pool's rim towards air mixes with it: tissue between resin and air is resin.
void close_rim(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool,
               Volume<std::uint8_t>& codes) {
  const Grid& grid = levels.grid;
  const std::array<std::ptrdiff_t, 3> stride{1, grid.size[0], static_cast<std::ptrdiff_t>(grid.size[0]) * grid.size[1]};
  std::vector<std::size_t> rim;
  for (const std::size_t block : pool.ring)
    for_voxels(coarse, grid, block, [&](std::size_t v) {
      if ((codes.values[v] & code::kMaterial) != label(Material::body)) return;
      const auto w = static_cast<std::size_t>(grid.size[0]), slice = w * static_cast<std::size_t>(grid.size[1]);
      const std::array<int, 3> at{static_cast<int>(v % w), static_cast<int>(v % slice / w), static_cast<int>(v / slice)};
      for (std::size_t a = 0; a < 3; ++a) {
        if (at[a] == 0 || at[a] + 1 == grid.size[a]) continue;
        const int before = codes.values[v - static_cast<std::size_t>(stride[a])] & code::kMaterial;
        const int after = codes.values[v + static_cast<std::size_t>(stride[a])] & code::kMaterial;
        const int least = std::min(before, after), most = std::max(before, after);
        if (most == label(Material::resin) && least <= label(Material::wrapping)) {
          rim.push_back(v);
          return;
        }
      }
    });
  for (const std::size_t v : rim) codes.values[v] = label(Material::resin);
}

}  // namespace

void find_resin(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                const TissueTexture& tissue, const Thresholds& thresholds, int threads, Volume<std::uint8_t>& codes) {
  const std::vector<std::uint8_t> even = even_blocks(coarse, shares, tissue, hu_of(thresholds.tissue_peak));
  const double block_mm3 = coarse.spacing_mm.prod();
  for (const Core& core : cores_of(coarse, even, 0, threads)) {
    if (static_cast<double>(core.blocks.size()) * block_mm3 < kLeastVolume_mm3) continue;
    LevelStatistic all;
    for (const std::size_t block : core.blocks) all.add(statistic_of(levels, coarse, block));
    const double reach = std::max(1.6, 2.5 * all.deviation());
    Pool pool;
    pool.lowest = static_cast<int>(std::floor(all.mean() - reach));
    pool.highest = static_cast<int>(std::ceil(all.mean() + reach));
    pool.blocks = core.blocks;
    pool.ring = ring_of(coarse, pool.blocks);
    const auto free = std::count_if(pool.ring.begin(), pool.ring.end(), [&](std::size_t v) { return shares.tissue[v] < 128; });
    if (static_cast<double>(free) < kLeastFree * static_cast<double>(pool.ring.size())) continue;
    label_pool(levels, coarse, pool, codes);
    close_rim(levels, coarse, pool, codes);
  }
}

}  // namespace leastharm::segment_detail
