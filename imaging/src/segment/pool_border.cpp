#include "pool_border.h"

#include <algorithm>
#include <cmath>

#include "parallel.h"
#include "regions.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kOfMedian = 1.4826;   ///< a normal distribution's standard deviation over the median distance from its middle

double log_density(const Normal& matter, double level) {
  const double z = (level - matter.mean) / matter.deviation;
  return -0.5 * z * z - std::log(matter.deviation);
}

/// Goes through a voxel's neighbourhood and weighs its tissue: resin or not.
class Judge {
 public:
  Judge(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, const Pool& pool)
      : levels_(levels), codes_(codes), favour_(pool.favour), reach_(reach_of_judgement(levels.grid)) {}
  [[nodiscard]] bool resin(const VoxelIndex& at) const {
    const auto& n = levels_.grid.size;
    float sum = 0;
    for (int k = std::max(0, at.k - reach_[2]); k <= std::min(n[2] - 1, at.k + reach_[2]); ++k)
      for (int j = std::max(0, at.j - reach_[1]); j <= std::min(n[1] - 1, at.j + reach_[1]); ++j) {
        const std::size_t row = levels_.grid.offset(0, j, k);
        for (int i = std::max(0, at.i - reach_[0]); i <= std::min(n[0] - 1, at.i + reach_[0]); ++i) {
          const std::size_t v = row + static_cast<std::size_t>(i);
          const int m = codes_.values[v] & code::kMaterial;
          if (m == label(Material::body) || m == label(Material::resin)) sum += favour_[levels_.values[v]];
        }
      }
    return sum > 0;
  }

 private:
  const Volume<std::uint8_t>& levels_;
  const Volume<std::uint8_t>& codes_;
  const Favour& favour_;
  std::array<int, 3> reach_;
};

/// Of some blocks, those of whose voxels at least a share is resin.
std::vector<std::size_t> blocks_of_resin(const Volume<std::uint8_t>& codes, const Coarse& coarse, const std::vector<std::size_t>& blocks, double share) {
  std::vector<std::size_t> resin;
  for (const std::size_t block : blocks) {
    int voxels = 0, of_resin = 0;
    for_voxels(coarse, codes.grid, block, [&](std::size_t v) { ++voxels, of_resin += (codes.values[v] & code::kMaterial) == label(Material::resin); });
    if (of_resin >= share * voxels) resin.push_back(block);
  }
  return resin;
}

}  // namespace

std::array<int, 3> reach_of_judgement(const Grid& grid) {
  constexpr double kReach_mm = 2.5;
  std::array<int, 3> reach{};
  for (std::size_t a = 0; a < 3; ++a) reach[a] = std::clamp(static_cast<int>(std::lround(kReach_mm / grid.spacing_mm[static_cast<Eigen::Index>(a)])), 1, 2);
  return reach;
}

Normal normal_near_middle(std::vector<double> levels) {
  constexpr double kDeviations = 2.5, kRounding = 0.5;   // levels are whole numbers
  if (levels.empty()) return {};
  const double middle = median(levels);
  std::vector<double> off(levels.size());
  std::ranges::transform(levels, off.begin(), [&](double level) { return std::abs(level - middle); });
  const double reach = std::max(1.0, kDeviations * kOfMedian * median(off));
  std::erase_if(levels, [&](double level) { return std::abs(level - middle) > reach; });
  double sum = 0, squares = 0;
  for (const double level : levels) sum += level, squares += level * level;
  const double n = static_cast<double>(levels.size()), mean = sum / n;
  return {mean, std::max(kRounding, std::sqrt(std::max(0.0, squares / n - mean * mean)))};
}

Favour favour_of(const Normal& resin, const Normal& tissue) {
  constexpr double kMost = 2;   // either way: no single voxel decides
  Favour favour{};
  for (std::size_t l = 0; l < favour.size(); ++l) {
    const auto level = static_cast<double>(l);
    favour[l] = static_cast<float>(std::clamp(log_density(resin, level) - log_density(tissue, level), -kMost, kMost));
  }
  return favour;
}

void label_pool(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool, int threads,
                Volume<std::uint8_t>& codes) {
  const auto tissue = [&](std::size_t v) { return (codes.values[v] & code::kMaterial) == label(Material::body); };
  const Judge judge(levels, codes, pool);
  std::vector<std::vector<std::size_t>> found(pool.ring.size());
  for_chunks(static_cast<int>(pool.ring.size()), 16, threads, [&](int, int first, int last) {
    for (auto n = static_cast<std::size_t>(first); n < static_cast<std::size_t>(last); ++n)
      for_voxels(coarse, levels.grid, pool.ring[n], [&](std::size_t v) {
        if (tissue(v) && judge.resin(levels.grid.index(v))) found[n].push_back(v);
      });
  });
  for (const auto& voxels : found)
    for (const std::size_t v : voxels) codes.values[v] = label(Material::resin);
  for (const std::size_t block : pool.blocks)
    for_voxels(coarse, levels.grid, block, [&](std::size_t v) {
      if (tissue(v)) codes.values[v] = label(Material::resin);
    });
}

void widen(const Volume<std::uint8_t>& levels, const Coarse& coarse, int threads, Pool& pool, Volume<std::uint8_t>& codes) {
  constexpr double kMostly = 0.9;   // more widely, it runs on into tissue of such HU
  if (coarse.factor[0] < 2 || coarse.factor[1] < 2 || coarse.factor[2] < 2) return;   // one voxel thick: half tissue, half air reads like resin
  const std::vector<std::size_t> resin = blocks_of_resin(codes, coarse, pool.ring, kMostly);
  std::vector<std::uint8_t> judged(coarse.count());
  for (const auto& blocks : {pool.blocks, pool.ring})
    for (const std::size_t block : blocks) judged[block] = 1;
  Pool edge{{}, ring_of(coarse, resin), pool.favour};
  std::erase_if(edge.ring, [&](std::size_t block) { return judged[block] != 0; });
  label_pool(levels, coarse, edge, threads, codes);
  pool.ring.insert(pool.ring.end(), edge.ring.begin(), edge.ring.end());
}

void close_rim(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool,
               Volume<std::uint8_t>& codes) {
  const Grid& grid = levels.grid;
  const auto stride = grid.strides();
  std::vector<std::size_t> rim;
  for (const std::size_t block : pool.ring)
    for_voxels(coarse, grid, block, [&](std::size_t v) {
      if ((codes.values[v] & code::kMaterial) != label(Material::body)) return;
      const VoxelIndex at = grid.index(v);
      for (std::size_t a = 0; a < 3; ++a) {
        if (at[a] == 0 || at[a] + 1 == grid.size[a]) continue;
        const int before = codes.values[v - static_cast<std::size_t>(stride[a])] & code::kMaterial;
        const int after = codes.values[v + static_cast<std::size_t>(stride[a])] & code::kMaterial;
        const int least = std::min(before, after), most = std::max(before, after);
        if (most == label(Material::resin) && least != label(Material::body) && least != label(Material::resin)) {
          rim.push_back(v);
          return;
        }
      }
    });
  for (const std::size_t v : rim) codes.values[v] = label(Material::resin);
}

}  // namespace leastharm::segment_detail
