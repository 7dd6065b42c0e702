#include "resin.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "denoise.h"
#include "parallel.h"
#include "pool.h"
#include "pool_border.h"
#include "regions.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kLowest_hu = -150, kHighest_hu = 120;
constexpr double kEvenShare = 0.45;       ///< resin varies at most this much of what tissue does
constexpr double kMostVariation_hu = 24, kEvenAnyway_hu = 14;   ///< and at most the first; the second is even in any case
constexpr double kMostSpread = 0.35;      ///< of the spread of the means of tissue's blocks: that of a pool's
constexpr double kLeastShare = 0.0005;    ///< of all tissue
constexpr std::size_t kManyBlocks = 27;   ///< fewer may be even by chance: they must have HU of their own
constexpr double kLeastFree = 0.05;       ///< share of the blocks around a pool
constexpr int kFreeShare = 128, kFreeOfOther = 240;   ///< that hold air or fibre: at most so much tissue, of 255; the second for what has HU of its own
constexpr double kLeastFlat = 0.6;        ///< of a pool's free surface: a lump of brain has 0.2 to 0.4
constexpr double kLeastContrast_hu = 15, kContrast = 3.5;   ///< by which resin differs from tissue as even as itself: at least, and of its spread
constexpr double kStandingShare = 0.5;    ///< what stands level varies at most this much of what tissue does,
constexpr double kStandingNoise = 1.4;    ///< or of what noise feigns
constexpr double kLeastLevel = 0.3;       ///< of the body's half thickness: the half width of a level surface
constexpr double kLiving_hu = 24;         ///< the variation of tissue in a living or plastic body stays below this

bool whole_tissue(const Shares& shares, std::size_t v) { return shares.tissue[v] == 255 && shares.mineral[v] == 0; }

/// The commonest mean of the blocks whose variation is known, and the standard deviation of the peak there.
struct Peak {
  double hu = 0, spread_hu = 0;
};
Peak commonest_mean(const Shares& shares, const std::vector<float>& variation) {
  constexpr int kFrom = -400, kStep = 2, kBins = 500, kReach = 1;
  std::array<std::int64_t, kBins> counts{};
  for (std::size_t v = 0; v < variation.size(); ++v)
    if (std::isfinite(variation[v])) ++counts[static_cast<std::size_t>(std::clamp((shares.mean_hu[v] - kFrom) / kStep, 0, kBins - 1))];
  std::array<std::int64_t, kBins> smooth{};
  for (int b = kReach; b + kReach < kBins; ++b)
    for (int n = b - kReach; n <= b + kReach; ++n) smooth[static_cast<std::size_t>(b)] += counts[static_cast<std::size_t>(n)];
  const auto top = std::max_element(smooth.begin(), smooth.end());
  auto low = top, high = top;
  while (low != smooth.begin() && 2 * *low > *top) --low;
  while (high + 1 != smooth.end() && 2 * *high > *top) ++high;
  return {kFrom + (static_cast<double>(top - smooth.begin()) + 0.5) * kStep, static_cast<double>(high - low) * kStep / 2.355};
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
  texture.blocks = all.size();
  const double voxels = coarse.factor[0] * coarse.factor[1] * coarse.factor[2];
  texture.block_noise_hu = noise_hu / std::sqrt(voxels);
  texture.least_seen_hu = least_variation_hu(coarse, noise_hu);
  if (all.size() < kLeastBlocks) return texture;
  texture.typical_hu = std::max(1.0, median(all));
  const Peak peak = commonest_mean(shares, texture.variation_hu);
  texture.tissue_hu = peak.hu;
  texture.spread_hu = peak.spread_hu;
  return texture;
}

namespace {

/// What is known before resin is looked for.
struct Known {
  const Volume<std::uint8_t>& levels;
  const Coarse& coarse;
  const Shares& shares;
  const TissueTexture& tissue;
};

Normal normal_of(const LevelStatistic& all) {
  constexpr double kRounding = 0.5;   // of levels: they are whole numbers
  return {all.mean(), std::max(kRounding, all.deviation())};
}

/// By how much HU must differ from tissue's to be another matter's.
double least_contrast(const TissueTexture& tissue) { return std::max(kLeastContrast_hu, kContrast * tissue.spread_hu); }

/// Blocks of even matter lighter (`side` -1) or heavier (1) than tissue; where tissue is uneven, all even ones (0).
std::vector<std::uint8_t> even_blocks(const Coarse& coarse, const Shares& shares, const TissueTexture& tissue, int side) {
  const double known = 2 * tissue.least_seen_hu;
  const double most = std::min(kMostVariation_hu, std::max(tissue.even() ? std::max(kEvenAnyway_hu, known) : 0.0, kEvenShare * tissue.typical_hu));
  const double contrast = least_contrast(tissue);
  std::vector<std::uint8_t> even(coarse.count());
  for (std::size_t v = 0; v < even.size(); ++v)
    even[v] = tissue.variation_hu[v] <= static_cast<float>(most) && shares.mean_hu[v] >= kLowest_hu && shares.mean_hu[v] <= kHighest_hu &&
              (side == 0 || side * (shares.mean_hu[v] - tissue.tissue_hu) >= contrast);
  return even;
}

/// What all whole tissue but the pool looks like.
Normal tissue_around(const Known& known, const std::vector<std::size_t>& pool) {
  const auto& [levels, coarse, shares, tissue] = known;
  constexpr std::size_t kEach = 7;   // a sample of the blocks will do
  std::vector<std::uint8_t> taken(coarse.count());
  for (const std::size_t v : pool) taken[v] = 1;
  std::vector<double> all;
  for (std::size_t v = 0; v < taken.size(); v += kEach)
    if (!taken[v] && whole_tissue(shares, v)) for_voxels(coarse, levels.grid, v, [&](std::size_t n) { all.push_back(levels.values[n]); });
  return normal_near_middle(std::move(all));
}

double mean_hu(const Shares& shares, const std::vector<std::size_t>& blocks) {
  double sum = 0;
  for (const std::size_t v : blocks) sum += shares.mean_hu[v];
  return sum / static_cast<double>(blocks.size());
}

/// The standard deviation of the means of a pool's blocks.
double spread_hu(const Shares& shares, const std::vector<std::size_t>& blocks) {
  double sum = 0, squares = 0;
  for (const std::size_t v : blocks) sum += shares.mean_hu[v], squares += static_cast<double>(shares.mean_hu[v]) * shares.mean_hu[v];
  const double n = static_cast<double>(blocks.size()), mean = sum / n;
  return std::sqrt(std::max(0.0, squares / n - mean * mean));
}

/// How far a pool's free surface keeps to one direction: 1 where it is flat, however it is tilted, a third for half a ball. It is the surface's
/// area seen from the axes over the sum of its blocks' free faces.
double flatness(const Coarse& coarse, const std::vector<std::uint8_t>& free, const std::vector<std::size_t>& pool) {
  const Vec3& spacing = coarse.spacing_mm;
  const Vec3 face_mm2(spacing.y() * spacing.z(), spacing.x() * spacing.z(), spacing.x() * spacing.y());
  Vec3 seen = Vec3::Zero();
  double faces = 0;
  for (const std::size_t block : pool)
    for (const int sign : {-1, 1})
      for (Eigen::Index a = 0; a < 3; ++a) {
        const VoxelIndex b = coarse.index(block);
        const std::array<int, 3> beside{b.i + (a == 0 ? sign : 0), b.j + (a == 1 ? sign : 0), b.k + (a == 2 ? sign : 0)};
        if (!coarse.contains(beside[0], beside[1], beside[2]) || !free[coarse.offset(beside[0], beside[1], beside[2])]) continue;
        seen[a] += sign * face_mm2[a], faces += face_mm2[a];
      }
  return faces > 0 ? seen.lpNorm<1>() / faces : 0;
}

bool is_pool(const Coarse& coarse, const Shares& shares, const TissueTexture& tissue, const Pool& pool) {
  const int most_tissue = tissue.even() ? kFreeOfOther : kFreeShare;
  std::vector<std::uint8_t> free(coarse.count());
  for (const std::size_t v : pool.ring) free[v] = shares.tissue[v] < most_tissue;
  const auto frees = std::count(free.begin(), free.end(), 1);
  if (static_cast<double>(frees) < kLeastFree * static_cast<double>(pool.ring.size()) || flatness(coarse, free, pool.blocks) < kLeastFlat) return false;
  if (pool.blocks.size() < kManyBlocks && std::abs(mean_hu(shares, pool.blocks) - tissue.tissue_hu) < least_contrast(tissue)) return false;
  const double noise = 1.5 * tissue.block_noise_hu;   // neighbouring voxels share some of it
  return tissue.even() || spread_hu(shares, pool.blocks) <= std::hypot(noise, kMostSpread * tissue.spread_hu);
}

/// Whether most of some blocks is resin already.
bool is_found(const Coarse& coarse, const Volume<std::uint8_t>& codes, const std::vector<std::size_t>& blocks) {
  std::size_t voxels = 0, resin = 0;
  for (const std::size_t block : blocks)
    for_voxels(coarse, codes.grid, block, [&](std::size_t v) { ++voxels, resin += (codes.values[v] & code::kMaterial) == label(Material::resin); });
  return 2 * resin > voxels;
}

void find_pools(const Known& known, int side, int threads, Volume<std::uint8_t>& codes) {
  const auto& [levels, coarse, shares, tissue] = known;
  const std::vector<std::uint8_t> even = even_blocks(coarse, shares, tissue, side);
  const double least_blocks = std::max(8.0, kLeastShare * static_cast<double>(tissue.blocks));
  for (const Core& core : cores_of(coarse, even, 0, threads)) {
    if (static_cast<double>(core.blocks.size()) < least_blocks) continue;
    Pool pool{core.blocks, ring_of(coarse, core.blocks), {}};
    if (is_found(coarse, codes, core.blocks) || !is_pool(coarse, shares, tissue, pool)) continue;
    LevelStatistic all;
    for (const std::size_t block : core.blocks) all.add(statistic_of(levels, coarse, block));
    pool.favour = favour_of(normal_of(all), tissue_around(known, pool.blocks));
    label_pool(levels, coarse, pool, threads, codes);
    widen(levels, coarse, threads, pool, codes);
    close_rim(levels, coarse, pool, codes);
  }
}

/// Whether what stands level is as even as a liquid that set, and no lump of tissue; where that cannot be told, it is.
bool is_even(const Standing& standing, const Normal& around, const Coarse& coarse, const TissueTexture& tissue) {
  const double voxels = coarse.factor[0] * coarse.factor[1] * coarse.factor[2];
  const bool uneven = tissue.typical_hu > kStandingNoise * tissue.least_seen_hu;   // beyond what noise feigns
  const double noise_hu = uneven ? tissue.block_noise_hu * std::sqrt(voxels / 27) : tissue.spread_hu;
  return !standing.deep || kHuPerLevel * standing.unevenness <= std::max(kStandingNoise * noise_hu, kStandingShare * kHuPerLevel * around.deviation);
}

/// Whether it is evener than tissue beyond doubt.
bool is_evener(const Standing& standing, const TissueTexture& tissue) {
  return standing.deep && kHuPerLevel * standing.unevenness <= kStandingShare * tissue.spread_hu;
}

/// How much the levels of one matter tell it from another: the mean of the log of the odds, a voxel (Kullback and Leibler 1951, "On
/// information and sufficiency", Annals of Mathematical Statistics 22:79-86).
double divergence(const Normal& from, const Normal& other) {
  const double ratio = from.deviation / other.deviation, z = (from.mean - other.mean) / other.deviation;
  return 0.5 * (ratio * ratio + z * z - 1) - std::log(ratio);
}

/// Takes what stands below a level surface for resin. Where its HU differ from tissue's they draw its border.
void take_standing(const Known& known, const LevelSurface& surface, double wall_mm, int threads, Volume<std::uint8_t>& codes) {
  const auto& [levels, coarse, shares, tissue] = known;
  constexpr double kTells = 0.32;   // as means do that lie 0.8 of a common deviation apart
  const PoolReading pool = read_pool(surface, levels, codes);
  const double hu = hu_of(0) + kHuPerLevel * pool.levels.mean;
  const bool own_hu = std::abs(hu - tissue.tissue_hu) >= least_contrast(tissue);
  if (pool.none || pool.found || hu < kLowest_hu || hu > kHighest_hu || (!own_hu && surface.evidence == Evidence::slight)) return;
  const Normal around = tissue_around(known, {});
  const Favour favour = favour_of(pool.levels, around);
  const PoolEnd end{divergence(pool.levels, around) > kTells ? &favour : nullptr, wall_mm};
  const Standing standing = standing_below(surface, levels, codes, end, coarse, threads);
  if (!own_hu && !is_even(standing, around, coarse, tissue)) return;
  if (!own_hu && surface.evidence == Evidence::fair && tissue.even() && !is_evener(standing, tissue)) return;   // what is left of a brain that set level is as even as tissue
  label_standing(surface, standing, levels, end.favour, coarse, codes);
}

}  // namespace

void find_resin(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares, const TissueTexture& tissue,
                const std::vector<Side>& sides, double half_thickness_mm, int threads, Volume<std::uint8_t>& codes) {
  const Known known{levels, coarse, shares, tissue};
  if (!tissue.even()) find_pools(known, 0, threads, codes);   // then evenness draws them best
  const Lying lying{kLeastLevel * half_thickness_mm, length_of(coarse, shares)};
  const std::vector<LevelSurface> surfaces = level_surfaces(levels, codes, coarse, lying, threads);
  const double wall = surfaces.empty() ? 0 : wall_mm(coarse, sides, threads);
  for (const LevelSurface& surface : surfaces) take_standing(known, surface, wall, threads, codes);
  if (tissue.even())
    for (const int side : {-1, 1}) find_pools(known, side, threads, codes);
}

}  // namespace leastharm::segment_detail
