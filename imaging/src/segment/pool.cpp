#include "pool.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <utility>

#include "denoise.h"
#include "distance.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kFirst_voxels = 1.5, kLast_voxels = 4.5;   ///< depth at which the pool's own HU are read: blur reaches less far than the first
constexpr int kBlurred = 3;                                 ///< voxels above bone that mix with it
constexpr float kSure = 3;                                  ///< log of the odds, 20 to 1: a sounding that falls so far behind its best is in other matter
constexpr std::size_t kLeastProbes = 30;
constexpr double kStep_voxels = 0.6;                        ///< of soundings, down and across: close enough to miss next to nothing

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

bool soft(std::uint8_t c) { return material(c) == label(Material::body) || material(c) == label(Material::resin); }

/// Walks down from a surface, voxel by voxel.
class Sounding {
 public:
  Sounding(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes)
      : surface_(surface), levels_(levels), codes_(codes), spacing_(levels.grid.spacing_mm),
        step_mm_(kStep_voxels / surface.normal.cwiseQuotient(spacing_).norm()), size_(levels.grid.size) {}

  /// Length of some voxels straight down.
  [[nodiscard]] double mm(double voxels) const { return voxels * step_mm_ / kStep_voxels; }

  /// Calls visit(voxel, depth) for tissue below a place, from its first on; visit says whether to go on. Returns the material
  /// (with its side) that it ended at, or body where visit ended it.
  template <typename Visit>
  std::uint8_t down(const Vec3& from, const Visit& visit) const {
    bool begun = false;
    std::size_t last = levels_.values.size();
    for (double depth = -2 * step_mm_;; depth += step_mm_) {
      const Vec3 index = (from - depth * surface_.normal).cwiseQuotient(spacing_);
      const VoxelIndex at{static_cast<int>(std::lround(index.x())), static_cast<int>(std::lround(index.y())),
                          static_cast<int>(std::lround(index.z()))};
      if (!levels_.grid.contains(at)) return label(Material::support);
      const std::size_t v = levels_.grid.offset(at);
      if (v == last) continue;
      last = v;
      if (!soft(codes_.values[v])) {
        if (begun || depth > 4 * step_mm_) return codes_.values[v];
        continue;
      }
      begun = true;
      if (!visit(v, at, depth)) return label(Material::body);
    }
  }
  /// The mean over the tissue within some voxels of one of what each level is worth.
  [[nodiscard]] float mean_around(const VoxelIndex& at, const std::array<int, 3>& reach, const Favour& worth) const {
    float sum = 0;
    int count = 0;
    const auto first = [&](std::size_t a) { return std::max(0, at[a] - reach[a]); };
    const auto last = [&](std::size_t a) { return std::min(size_[a] - 1, at[a] + reach[a]); };
    for (int k = first(2); k <= last(2); ++k)
      for (int j = first(1); j <= last(1); ++j) {
        const std::size_t row = levels_.grid.offset(0, j, k);
        for (std::size_t v = row + static_cast<std::size_t>(first(0)); v <= row + static_cast<std::size_t>(last(0)); ++v)
          if (soft(codes_.values[v])) sum += worth[levels_.values[v]], ++count;
      }
    return sum / static_cast<float>(std::max(1, count));
  }
  /// How much likelier the neighbourhood of a voxel is resin than tissue.
  [[nodiscard]] float favoured(const VoxelIndex& at, const Favour& favour) const { return mean_around(at, reach_of_judgement(levels_.grid), favour); }
  [[nodiscard]] bool below(const VoxelIndex& at) const {
    return surface_.normal.dot(Vec3(at.i, at.j, at.k).cwiseProduct(spacing_) - surface_.point) <= 0;
  }
  /// Starting places around a block's place, close enough to miss no voxel.
  [[nodiscard]] std::vector<Vec3> spread_over(const Vec3& place, double block_mm) const {
    const Vec3 u = surface_.normal.unitOrthogonal(), w = surface_.normal.cross(u);
    const Vec3 level = place - surface_.normal.dot(place - surface_.point) * surface_.normal;
    const double apart = kStep_voxels * spacing_.minCoeff();
    const int n = static_cast<int>(std::ceil(0.5 * block_mm / apart));
    std::vector<Vec3> places;
    for (int b = -n; b <= n; ++b)
      for (int a = -n; a <= n; ++a) places.push_back(level + apart * (a * u + b * w));
    return places;
  }

 private:
  const LevelSurface& surface_;
  const Volume<std::uint8_t>& levels_;
  const Volume<std::uint8_t>& codes_;
  const Vec3& spacing_;
  double step_mm_;
  const std::array<int, 3>& size_;
};

struct Probe {
  double depth_voxels = 0;
  std::uint8_t level = 0;
};

/// The levels of a column that lie clear of its surface and its bottom; of a shallow one the level half way down.
void add_clear_of_ends(const std::vector<Probe>& column, bool to_bottom, std::vector<double>& deep, std::vector<double>& shallow) {
  const double bottom = to_bottom ? column.back().depth_voxels + 0.5 : kFirst_voxels + column.back().depth_voxels;
  const bool is_deep = bottom >= 2 * kFirst_voxels;
  const double first = is_deep ? kFirst_voxels : 0.5 * bottom - 0.5, last = is_deep ? std::min(kLast_voxels, bottom - kFirst_voxels) : first + 1;
  for (const Probe& p : column)
    if (p.depth_voxels >= first && p.depth_voxels <= last) (is_deep ? deep : shallow).push_back(p.level);
}

double deviation(const std::vector<double>& values) {
  double sum = 0, squares = 0;
  for (const double v : values) sum += v, squares += v * v;
  const double n = std::max(1.0, static_cast<double>(values.size())), mean = sum / n;
  return std::sqrt(std::max(0.0, squares / n - mean * mean));
}

Favour level_itself() {
  Favour worth{};
  for (std::size_t l = 0; l < worth.size(); ++l) worth[l] = static_cast<float>(l);
  return worth;
}

/// Finds how far down resin reaches.
class Columns {
 public:
  Columns(const Sounding& sounding, const PoolEnd& pool_end) : sounding_(sounding), favour_(pool_end.favour), wall_mm_(pool_end.wall_mm) {}

  using Column = std::vector<std::pair<std::size_t, double>>;   ///< voxels and their depth, mm

  [[nodiscard]] Column below(const Vec3& from) const {
    Column column;
    std::size_t kept = 0;
    float sum = 0, best = 0;
    const std::uint8_t end = sounding_.down(from, [&](std::size_t v, const VoxelIndex& at, double depth) {
      column.emplace_back(v, depth);
      if (favour_ && depth >= sounding_.mm(kFirst_voxels)) sum += sounding_.favoured(at, *favour_);
      if (!favour_ || sum > best) best = sum, kept = column.size();   // what blur hides at the surface is resin if what lies below is
      return sum > best - kSure;
    });
    if (column.empty()) return column;
    if (kept > 0 && material(end) != label(Material::body) && column.size() - kept <= kBlurred) kept = column.size();
    const bool through = material(end) == label(Material::support) || (material(end) <= label(Material::wrapping) && !(end & code::kInside));
    const double last_mm = column.back().second - (through && kept == column.size() ? wall_mm_ : 0);
    column.resize(kept);
    std::erase_if(column, [&](const auto& voxel) { return voxel.second > last_mm; });
    return column;
  }

 private:
  const Sounding& sounding_;
  const Favour* favour_;
  double wall_mm_;
};

void keep_each_once(std::vector<std::size_t>& voxels) {
  std::ranges::sort(voxels);
  voxels.erase(std::unique(voxels.begin(), voxels.end()), voxels.end());
}

/// Near the vessel's wall the surface faces other ways, so that no sounding starts there: what lies beside, step by step.
void spread_sideways(const Sounding& sounding, const Favour& favour, int steps, std::vector<std::size_t> front, Volume<std::uint8_t>& codes) {
  for (int step = 0; step < steps; ++step) {
    std::vector<std::size_t> next;
    for (const std::size_t v : front)
      for_neighbours(codes.grid, v, [&](std::size_t beside) {
        if (material(codes.values[beside]) != label(Material::body)) return;
        const VoxelIndex at = codes.grid.index(beside);
        if (sounding.below(at) && sounding.favoured(at, favour) > 0) next.push_back(beside);
      });
    keep_each_once(next);
    for (const std::size_t v : next) codes.values[v] = label(Material::resin);
    front = std::move(next);
  }
}

}  // namespace

PoolReading read_pool(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes) {
  const Sounding sounding(surface, levels, codes);
  std::vector<double> deep, shallow;
  std::vector<Probe> column;
  std::size_t all = 0, resin = 0;
  for (const Vec3& place : surface.places) {
    column.clear();
    const std::uint8_t end = sounding.down(place, [&](std::size_t v, const VoxelIndex&, double depth) {
      column.push_back({depth / sounding.mm(1), levels.values[v]});
      ++all, resin += material(codes.values[v]) == label(Material::resin);
      return column.back().depth_voxels < kFirst_voxels + kLast_voxels;
    });
    if (!column.empty()) add_clear_of_ends(column, material(end) != label(Material::body), deep, shallow);
  }
  if (deep.empty() && shallow.empty()) return {};
  return {normal_near_middle(deep.size() >= kLeastProbes || shallow.empty() ? deep : shallow), false, 2 * resin > all};
}

Standing standing_below(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                        const PoolEnd& pool_end, const Coarse& coarse, int threads) {
  const Sounding sounding(surface, levels, codes);
  const Columns columns(sounding, pool_end);
  const Favour itself = level_itself();
  std::vector<std::vector<std::size_t>> parts(surface.places.size());
  std::vector<std::vector<double>> means(parts.size());
  for_chunks(static_cast<int>(surface.places.size()), 8, threads, [&](int, int first, int last) {
    for (auto n = static_cast<std::size_t>(first); n < static_cast<std::size_t>(last); ++n) {
      for (const Vec3& from : sounding.spread_over(surface.places[n], coarse.spacing_mm.maxCoeff()))
        for (const auto& [v, depth] : columns.below(from)) parts[n].push_back(v);
      keep_each_once(parts[n]);
      const Columns::Column middle = columns.below(surface.places[n]);
      for (const auto& [v, depth] : middle)
        if (depth >= sounding.mm(kFirst_voxels) && depth <= middle.back().second - sounding.mm(kFirst_voxels))
          means[n].push_back(static_cast<double>(sounding.mean_around(codes.grid.index(v), {1, 1, 1}, itself)));
    }
  });
  Standing standing;
  std::vector<double> all;
  for (const auto& part : parts) standing.voxels.insert(standing.voxels.end(), part.begin(), part.end());
  for (const auto& part : means) all.insert(all.end(), part.begin(), part.end());
  keep_each_once(standing.voxels);
  standing.deep = all.size() >= kLeastProbes;
  standing.unevenness = deviation(all);
  return standing;
}

void label_standing(const LevelSurface& surface, const Standing& standing, const Volume<std::uint8_t>& levels, const Favour* favour,
                    const Coarse& coarse, Volume<std::uint8_t>& codes) {
  for (const std::size_t v : standing.voxels) codes.values[v] = label(Material::resin);
  const Sounding sounding(surface, levels, codes);
  if (favour) spread_sideways(sounding, *favour, std::ranges::max(coarse.factor), standing.voxels, codes);
  std::vector<std::uint8_t> held(coarse.count());
  for (const std::size_t v : standing.voxels) held[coarse.block_of(codes.grid.index(v))] = 1;
  Pool pool;
  for (std::size_t b = 0; b < held.size(); ++b)
    if (held[b]) pool.blocks.push_back(b);
  pool.ring = ring_of(coarse, pool.blocks);
  pool.ring.insert(pool.ring.end(), pool.blocks.begin(), pool.blocks.end());
  close_rim(levels, coarse, pool, codes);
}

double wall_mm(const Coarse& coarse, const std::vector<Side>& sides, int threads) {
  std::vector<std::uint8_t> outside(sides.size());
  for (std::size_t v = 0; v < sides.size(); ++v) outside[v] = sides[v] == Side::outside;
  const std::vector<float> distance = distance_mm(coarse, outside, threads);
  std::vector<double> walls;
  for (std::size_t v = 0; v < sides.size(); ++v) {
    if (sides[v] != Side::inside || !std::isfinite(distance[v])) continue;
    const std::vector<std::size_t> ring = ring_of(coarse, v);
    if (std::any_of(ring.begin(), ring.end(), [&](std::size_t n) { return sides[n] == Side::wall; })) walls.push_back(static_cast<double>(distance[v]));
  }
  if (walls.empty()) return 0;
  return std::max(0.0, median(walls) - coarse.spacing_mm.minCoeff());
}

}  // namespace leastharm::segment_detail
