#include "pool.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "denoise.h"
#include "distance.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kFirst_voxels = 1.5, kLast_voxels = 4.5;   ///< depth at which the pool's own HU are read
constexpr double kOther_levels = 1.5, kOther = 3;           ///< off by more, and by so many standard deviations, is other matter
constexpr int kVoxelsOff = 3;                               ///< that must hold for so many voxels in a row
constexpr double kStep_voxels = 0.6;                        ///< of soundings, down and across: close enough to miss next to nothing

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

bool soft(std::uint8_t c) { return material(c) == label(Material::body) || material(c) == label(Material::resin); }

/// Walks down from a surface, voxel by voxel.
class Sounding {
 public:
  Sounding(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes)
      : surface_(surface), levels_(levels), codes_(codes), spacing_(levels.grid.spacing_mm),
        step_mm_(kStep_voxels / surface.normal.cwiseQuotient(spacing_).norm()), size_(levels.grid.size) {}

  [[nodiscard]] double step_mm() const { return step_mm_; }

  /// Calls visit(voxel, depth) for tissue below a place, from its first on; visit says whether to go on. Returns the material
  /// (with its side) that it ended at, or body where visit ended it.
  template <typename Visit>
  std::uint8_t down(const Vec3& from, const Visit& visit) const {
    bool begun = false;
    std::size_t last = levels_.values.size();
    for (double depth = -2 * step_mm_;; depth += step_mm_) {
      const Vec3 index = (from - depth * surface_.normal).cwiseQuotient(spacing_);
      std::array<int, 3> at{};
      for (std::size_t a = 0; a < 3; ++a) {
        at[a] = static_cast<int>(std::lround(index[static_cast<Eigen::Index>(a)]));
        if (at[a] < 0 || at[a] >= size_[a]) return label(Material::support);
      }
      const std::size_t v = levels_.grid.offset(at[0], at[1], at[2]);
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
  /// The mean level of tissue around a voxel.
  [[nodiscard]] double level_at(const std::array<int, 3>& at) const {
    int sum = 0, count = 0;
    for (int k = std::max(0, at[2] - 1); k <= std::min(size_[2] - 1, at[2] + 1); ++k)
      for (int j = std::max(0, at[1] - 1); j <= std::min(size_[1] - 1, at[1] + 1); ++j)
        for (int i = std::max(0, at[0] - 1); i <= std::min(size_[0] - 1, at[0] + 1); ++i) {
          const std::size_t v = levels_.grid.offset(i, j, k);
          if (soft(codes_.values[v])) sum += levels_.values[v], ++count;
        }
    return static_cast<double>(sum) / std::max(1, count);
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

/// The pool's own HU, smoothed as `level_at` does.
struct Own {
  double mean = 0, deviation = 0, resin_share = 0;
  LevelStatistic single;
};
struct Probe {
  double around = 0;   ///< as `level_at` says
  std::uint8_t level = 0;
};

/// Of all probes, those near the middle one count: near the vessel's wall some are the wall's.
Own own_of(const std::vector<Probe>& probes) {
  constexpr double kDeviations = 2.5, kOfMedian = 1.4826;   // a normal distribution's standard deviation over its median one
  Own own;
  if (probes.empty()) return own;
  std::vector<double> around;
  for (const Probe& p : probes) around.push_back(p.around);
  const double middle = median(around);
  for (double& a : around) a = std::abs(a - middle);
  const double reach = std::max(1.0, kDeviations * kOfMedian * median(around));
  double sum = 0, squares = 0, count = 0;
  for (const Probe& p : probes) {
    if (std::abs(p.around - middle) > reach) continue;
    sum += p.around, squares += p.around * p.around, ++count;
    own.single.add(p.level);
  }
  own.mean = sum / count;
  own.deviation = std::sqrt(std::max(0.0, squares / count - own.mean * own.mean));
  return own;
}

Own own_of(const Sounding& sounding, const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes) {
  std::vector<Probe> probes;
  double resin = 0;
  for (const Vec3& place : surface.places)
    (void)sounding.down(place, [&](std::size_t v, const std::array<int, 3>& at, double depth) {
      const double voxels = kStep_voxels * depth / sounding.step_mm();
      if (voxels >= kFirst_voxels) {
        probes.push_back({sounding.level_at(at), levels.values[v]});
        resin += material(codes.values[v]) == label(Material::resin);
      }
      return voxels < kLast_voxels;
    });
  Own own = own_of(probes);
  own.resin_share = resin / std::max(1.0, static_cast<double>(probes.size()));
  return own;
}

}  // namespace

Standing standing_below(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                        const Coarse& coarse, double wall_mm, int threads) {
  const Sounding sounding(surface, levels, codes);
  const Own own = own_of(sounding, surface, levels, codes);
  if (own.resin_share > 0.5) return {};
  const double other = std::max(kOther_levels, kOther * own.deviation);
  std::vector<std::vector<std::size_t>> parts(surface.places.size());
  for_chunks(static_cast<int>(surface.places.size()), 8, threads, [&](int, int first, int last) {
    std::vector<std::pair<std::size_t, double>> column;
    for (auto n = static_cast<std::size_t>(first); n < static_cast<std::size_t>(last); ++n) {
      for (const Vec3& from : sounding.spread_over(surface.places[n], coarse.spacing_mm.maxCoeff())) {
        column.clear();
        int off = 0;
        double depth = 0;
        const std::uint8_t end = sounding.down(from, [&](std::size_t v, const std::array<int, 3>& at, double d) {
          depth = d;
          off = std::abs(sounding.level_at(at) - own.mean) > other ? off + 1 : 0;
          column.emplace_back(v, d);
          return off < kVoxelsOff;
        });
        const bool through = material(end) == label(Material::support) || (material(end) <= label(Material::wrapping) && !(end & code::kInside));
        const double last_mm = off >= kVoxelsOff ? depth - (kVoxelsOff - 0.5) * sounding.step_mm() / kStep_voxels : through ? depth - wall_mm : depth;
        for (const auto& [v, d] : column)
          if (d <= last_mm) parts[n].push_back(v);
      }
      std::sort(parts[n].begin(), parts[n].end());
      parts[n].erase(std::unique(parts[n].begin(), parts[n].end()), parts[n].end());
    }
  });
  Standing standing;
  standing.levels = own.single;
  for (const auto& part : parts) standing.voxels.insert(standing.voxels.end(), part.begin(), part.end());
  std::sort(standing.voxels.begin(), standing.voxels.end());
  standing.voxels.erase(std::unique(standing.voxels.begin(), standing.voxels.end()), standing.voxels.end());
  return standing;
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
