#include "slab_surface.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "regions.h"

namespace leastharm::segment_detail {
namespace {

/// Half a step either way of a voxel layer, where a column of the fine grid passes through `half` between two levels.
double crossing(const Volume<std::uint8_t>& levels, const Slab& slab, int u, int v, double from_mm, double to_mm,
                bool rising) {
  const auto ua = static_cast<std::size_t>(slab.u_axis()), va = static_cast<std::size_t>(slab.v_axis()),
             wa = static_cast<std::size_t>(slab.axis);
  const int n = levels.grid.size[wa];
  const double spacing = levels.grid.spacing_mm[slab.axis];
  const auto level = [&](int w) {
    std::array<int, 3> at{};
    at[ua] = u, at[va] = v, at[wa] = slab.from_end ? n - 1 - w : w;
    return static_cast<double>(levels.values[levels.grid.offset(at[0], at[1], at[2])]);
  };
  const int first = std::max(0, static_cast<int>(from_mm / spacing));
  const int last = std::min(n - 1, static_cast<int>(std::ceil(to_mm / spacing)));
  if (last - first < 2) return kNothing;
  double low = 255, high = 0;
  for (int w = first; w <= last; ++w) low = std::min(low, level(w)), high = std::max(high, level(w));
  if (high - low < 8) return kNothing;
  const double half = (low + high) / 2;
  if (rising) {
    for (int w = first; w < last; ++w)
      if (level(w) < half && level(w + 1) >= half) return (w + (half - level(w)) / (level(w + 1) - level(w))) * spacing;
  } else {
    for (int w = last; w > first; --w)
      if (level(w) < half && level(w - 1) >= half) return (w - (half - level(w)) / (level(w - 1) - level(w))) * spacing;
  }
  return kNothing;
}

/// Moves a surface so that it runs half way between the levels on both sides, by the median over all columns given;
/// `flat` moves it as a whole, else every column of blocks moves by itself.
class Refiner {
 public:
  Refiner(const Volume<std::uint8_t>& levels, const Coarse& coarse, const View& view, const RoughSlab& rough,
          const std::vector<Column>& columns, const Slab& slab)
      : levels_(levels), coarse_(coarse), view_(view), rough_(rough), columns_(columns), slab_(slab) {}

  void refine(std::vector<double>& profile, double slope, bool rising, bool flat) const {
    std::vector<double> all;
    std::vector<double> shift(static_cast<std::size_t>(view_.columns), 0);
    for (int cu = 0; cu < view_.columns; ++cu) {
      std::vector<double> offsets = offsets_of(cu, profile, slope, rising);
      all.insert(all.end(), offsets.begin(), offsets.end());
      if (offsets.size() >= 5) shift[static_cast<std::size_t>(cu)] = median(offsets);
    }
    if (all.empty()) return;
    const double common = median(all);
    const int factor = coarse_.factor[static_cast<std::size_t>(slab_.u_axis())];
    for (std::size_t u = 0; u < profile.size(); ++u)
      profile[u] += flat ? common : shift[u / static_cast<std::size_t>(factor)];
  }

 private:
  [[nodiscard]] std::vector<double> offsets_of(int cu, const std::vector<double>& profile, double slope,
                                               bool rising) const {
    const auto ua = static_cast<std::size_t>(slab_.u_axis()), va = static_cast<std::size_t>(slab_.v_axis());
    const int u = std::min(cu * coarse_.factor[ua] + coarse_.factor[ua] / 2, levels_.grid.size[ua] - 1);
    const double surface = profile[static_cast<std::size_t>(u)];
    const double thickness = rough_.thickness_mm[static_cast<std::size_t>(cu)];
    std::vector<double> offsets;
    if (surface == kNothing || thickness == kNothing) return offsets;
    const double outward = 1.5 * view_.layer_mm, inward = std::min(outward, 0.6 * thickness);
    for (int cv = 0; cv < view_.rows; ++cv) {
      const std::size_t cell = view_.cell(cu, cv);
      if (!rough_.footprint[cell] || std::abs(columns_[cell].run_mm - thickness) > 2.5) continue;
      const int v = std::min(cv * coarse_.factor[va] + coarse_.factor[va] / 2, levels_.grid.size[va] - 1);
      const double depth = surface + slope * (v * levels_.grid.spacing_mm[slab_.v_axis()]);
      const double found = crossing(levels_, slab_, u, v, depth - (rising ? outward : inward),
                                    depth + (rising ? inward : outward), rising);
      if (found != kNothing) offsets.push_back(found - depth);
    }
    return offsets;
  }

  const Volume<std::uint8_t>& levels_;
  const Coarse& coarse_;
  const View& view_;
  const RoughSlab& rough_;
  const std::vector<Column>& columns_;
  const Slab& slab_;
};

}  // namespace

/// From blocks, whose depth counts from the volume's outer face, to fine voxels, whose depth counts from their centres.
Slab fine_slab(const Volume<std::uint8_t>& levels, const Coarse& coarse, const View& view, const RoughSlab& rough,
               const std::vector<Column>& columns, bool flat) {
  const Grid& grid = levels.grid;
  Slab slab{view.axis, view.from_end, {}, {}, rough.face.slope_v, rough.face.slope_v, rough.footprint};
  const auto ua = static_cast<std::size_t>(slab.u_axis()), wa = static_cast<std::size_t>(slab.axis);
  const double spacing_u = grid.spacing_mm[slab.u_axis()], spacing_v = grid.spacing_mm[slab.v_axis()];
  const double half_u = 0.5 * (view.u_mm - spacing_u), half_v = 0.5 * (view.v_mm - spacing_v);
  double shift = -0.5 * grid.spacing_mm[slab.axis] - rough.face.slope_v * half_v;
  if (slab.from_end) shift -= (coarse.size[wa] * coarse.factor[wa] - grid.size[wa]) * grid.spacing_mm[slab.axis];
  for (int u = 0; u < grid.size[ua]; ++u) {
    const double at = std::clamp((u * spacing_u - half_u) / view.u_mm, 0.0, view.columns - 1.0);
    const auto c = static_cast<std::size_t>(std::min(static_cast<int>(at), std::max(0, view.columns - 2)));
    const auto d = std::min(c + 1, rough.face.profile_mm.size() - 1);
    const double t = at - static_cast<double>(c);
    const auto between = [&](const std::vector<double>& p) {
      return p[c] == kNothing ? p[d] : p[d] == kNothing ? p[c] : (1 - t) * p[c] + t * p[d];
    };
    const double face = between(rough.face.profile_mm) + shift;
    slab.face_mm.push_back(face);
    slab.back_mm.push_back(face + between(rough.thickness_mm));
  }
  const Refiner refiner(levels, coarse, view, rough, columns, slab);
  std::vector<double> face = slab.face_mm, back = slab.back_mm;
  refiner.refine(face, slab.face_slope, true, flat);
  refiner.refine(back, slab.back_slope, false, flat);
  slab.face_mm = std::move(face);
  slab.back_mm = std::move(back);
  return slab;
}

}  // namespace leastharm::segment_detail
