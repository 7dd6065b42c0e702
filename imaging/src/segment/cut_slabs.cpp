#include "cut_slabs.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "measure.h"
#include "view.h"

namespace leastharm::segment_detail {
namespace {

constexpr double kThickest_mm = 60;
constexpr int kAirVoxels = 3;               ///< so many in a row end the support
constexpr double kLeastAgreement = 0.6;     ///< of the cells of a column that end in air
constexpr double kLeastLength = 0.25;       ///< of the volume's length, that such cells take in a column
constexpr double kLeastColumns = 0.08;      ///< of all columns that have a depth,
constexpr double kLeastOfSection = 0.5;     ///< of the volume's cross-section, for a head or foot board: linen over the head covers less
constexpr double kLeastInliers = 0.7;       ///< and share of those that lie on the parabola

/// An end of the volume, and the fine voxels behind each column of blocks.
struct End {
  int axis = 0, u_axis = 0, v_axis = 0;
  bool from_end = false;
};

/// Depth from the volume's border to air, from where the scanner's field begins through nothing denser than loose fibre or wood; kNothing
/// where there is none.
double depth_to_air(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& levels, const End& end, const Thresholds& t, int u, int v) {
  const int n = levels.grid.size[static_cast<std::size_t>(end.axis)];
  const double spacing = levels.grid.spacing_mm[end.axis];
  int first = 0, last = -1, air = 0;   // first: of the field
  for (int w = 0; w < n && air < kAirVoxels; ++w) {
    std::array<int, 3> at{};
    at[static_cast<std::size_t>(end.u_axis)] = u;
    at[static_cast<std::size_t>(end.v_axis)] = v;
    at[static_cast<std::size_t>(end.axis)] = end.from_end ? n - 1 - w : w;
    const std::size_t voxel = levels.grid.offset(at[0], at[1], at[2]);
    if (w == first && hu.values[voxel] < kLowestReadingHu) {
      ++first;
      continue;
    }
    const int level = levels.values[voxel];
    if (level >= t.tissue || (w - first - air) * spacing > kThickest_mm) return kNothing;
    if (level >= t.fibre) last = w, air = 0;
    else ++air;
  }
  return last < 0 || air < kAirVoxels ? kNothing : (last + 0.5) * spacing;
}

/// The depth that most of a column's cells share, if it is one.
double common_depth(std::vector<double> depths, std::size_t rows, double tolerance) {
  if (static_cast<double>(depths.size()) < kLeastLength * static_cast<double>(rows)) return kNothing;
  std::sort(depths.begin(), depths.end());
  std::size_t most = 0, where = 0;
  for (std::size_t first = 0, last = 0; first < depths.size(); ++first) {
    while (last < depths.size() && depths[last] - depths[first] <= 2 * tolerance) ++last;
    if (last - first > most) most = last - first, where = first;
  }
  return static_cast<double>(most) < kLeastAgreement * static_cast<double>(depths.size()) ? kNothing : depths[where + most / 2];
}

struct Parabola {
  Vec3 a = Vec3::Zero();
  int first = 0, last = -1;   ///< columns it rests on

  [[nodiscard]] double at(double u) const { return a[0] + u * (a[1] + u * a[2]); }
};

std::optional<Parabola> fitted(const std::vector<double>& depth, double tolerance) {
  Parabola best;
  int used = 0, known = 0;
  for (int round = 0; round < 4; ++round) {
    Mat3 m = Mat3::Zero();
    Vec3 b = Vec3::Zero();
    Parabola next;
    next.first = static_cast<int>(depth.size());
    used = known = 0;
    for (int u = 0; u < static_cast<int>(depth.size()); ++u) {
      const double d = depth[static_cast<std::size_t>(u)];
      if (d == kNothing) continue;
      ++known;
      if (round > 0 && std::abs(d - best.at(u)) > tolerance * (round < 2 ? 3 : 1.5)) continue;
      const Vec3 row(1, u, static_cast<double>(u) * u);
      m += row * row.transpose();
      b += d * row;
      ++used;
      next.first = std::min(next.first, u);
      next.last = u;
    }
    if (used < 5) return std::nullopt;
    next.a = m.ldlt().solve(b);
    if (!next.a.allFinite()) return std::nullopt;
    best = next;
  }
  if (used < kLeastInliers * known || used < kLeastColumns * static_cast<double>(depth.size())) return std::nullopt;
  return best;
}

std::optional<Slab> cut_slab(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& levels, const Coarse& coarse, const Thresholds& thresholds,
                             const End& end) {
  const auto ua = static_cast<std::size_t>(end.u_axis), va = static_cast<std::size_t>(end.v_axis);
  const int columns = coarse.size[ua], rows = coarse.size[va];
  const double tolerance = std::max(1.2, levels.grid.spacing_mm[end.axis]);
  std::vector<double> depth;
  std::vector<std::vector<double>> cells;   // of each column, those that end in air
  for (int cu = 0; cu < columns; ++cu) {
    std::vector<double> depths;
    for (int cv = 0; cv < rows; ++cv) {
      const auto middle = [&](int c, std::size_t a) { return std::min(c * coarse.factor[a] + coarse.factor[a] / 2, levels.grid.size[a] - 1); };
      if (const double d = depth_to_air(hu, levels, end, thresholds, middle(cu, ua), middle(cv, va)); d != kNothing) depths.push_back(d);
    }
    depth.push_back(common_depth(depths, static_cast<std::size_t>(rows), tolerance));
    cells.push_back(std::move(depths));
  }
  const auto parabola = fitted(depth, tolerance);
  if (!parabola) return std::nullopt;
  if (end.axis == 2) {
    std::ptrdiff_t on = 0;
    for (int cu = parabola->first; cu <= parabola->last; ++cu)
      on += std::ranges::count_if(cells[static_cast<std::size_t>(cu)], [&](double d) { return std::abs(d - parabola->at(cu)) <= tolerance; });
    if (static_cast<double>(on) < kLeastOfSection * columns * rows) return std::nullopt;
  }
  Slab slab{end.axis, end.from_end, {}, {}, 0, 0, std::vector<std::uint8_t>(static_cast<std::size_t>(columns) * static_cast<std::size_t>(rows))};
  for (int cv = 0; cv < rows; ++cv)
    for (int cu = parabola->first; cu <= parabola->last; ++cu)
      slab.footprint[static_cast<std::size_t>(cu) + static_cast<std::size_t>(columns) * static_cast<std::size_t>(cv)] = parabola->at(cu) > 0;
  for (int u = 0; u < levels.grid.size[ua]; ++u) {
    const double back = parabola->at((u - 0.5 * (coarse.factor[ua] - 1)) / coarse.factor[ua]);
    slab.face_mm.push_back(back > 0 ? -2 * levels.grid.spacing_mm[end.axis] : kNothing);
    slab.back_mm.push_back(back > 0 ? back : kNothing);
  }
  return slab;
}

}  // namespace

std::vector<Slab> find_cut_slabs(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& levels, const Coarse& coarse,
                                 const Thresholds& thresholds) {
  std::vector<Slab> slabs;
  for (const int axis : {0, 1, 2})
    for (const bool from_end : {false, true})
      if (auto slab = cut_slab(hu, levels, coarse, thresholds, {axis, axis == 0 ? 1 : 0, axis == 2 ? 1 : 2, from_end})) slabs.push_back(std::move(*slab));
  return slabs;
}

}  // namespace leastharm::segment_detail
