#include "planner/core_yield.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>

#include "planner/counter_random.h"
#include "planner/density.h"
#include "planner/placement.h"
#include "planner/voxel_walk.h"

namespace leastharm {

namespace {

constexpr double kPatch_mm = 5;
constexpr int kDrawNodes = 37;
constexpr double kQuantile95 = 1.6448536269514722;

double water_of(std::int16_t hu) { return hu == kNoReadingHu ? 0 : 1 + hu / 1000.0; }

/// Which voxels of the map are wrong in one draw.
class MapErrors {
 public:
  MapErrors(const MassModel& model, std::uint64_t seed, std::uint64_t draw)
      : model_(&model), seed_(seed), draw_(draw),
        whole_(random_normal(seed, stream_named("map, whole"), draw) * std::numbers::sqrt2 / 2) {}

  [[nodiscard]] bool right(VoxelIndex v, std::uint8_t confidence) {
    if (confidence == 255) return true;
    return whole_ + patch(v) * std::numbers::sqrt2 / 2 <= model_->right_below(confidence);
  }

 private:
  double patch(VoxelIndex v) {
    const Vec3& s = model_->body().grid.spacing_mm;
    const auto cube = [](int n, double spacing) { return static_cast<std::uint64_t>(n * spacing / kPatch_mm); };
    const std::uint64_t key = cube(v.i, s.x()) << 42 | cube(v.j, s.y()) << 21 | cube(v.k, s.z());
    for (const auto& [known, z] : patches_)
      if (known == key) return z;
    patches_.emplace_back(key, random_normal(seed_, stream_named("map, patches") ^ random_bits(seed_, draw_, 0), key));
    return patches_.back().second;
  }

  const MassModel* model_;
  std::uint64_t seed_, draw_;
  double whole_;
  std::vector<std::pair<std::uint64_t, double>> patches_;
};

/// Adds one stretch of a line; `right` says whether the map is right there.
void add_stretch(CoreContent& content, const Body& body, const Region& region, std::size_t offset, VoxelIndex v,
                 double length, auto&& right) {
  const std::uint8_t material = body.materials[offset];
  const std::size_t m = weighed_as(material, body.hu[offset]);
  const double water = length * water_of(body.hu[offset]);
  content.mm3[m] += length;
  content.water_mm3[m] += water;
  if (material == 0 || !region.contains(v, static_cast<Material>(material)) || !right(offset, v)) return;
  content.requested_mm3[m] += length;
  content.requested_water_mm3[m] += water;
}

CoreContent content_along(const Body& body, const Region& region, const Cylinder& core,
                          const std::vector<DiscNode>& nodes, auto&& right) {
  CoreContent content;
  const auto [e1, e2] = across(core.axis);
  for (const DiscNode& node : nodes)
    walk_voxels(body.grid, core.start + node.x_mm * e1 + node.y_mm * e2, core.axis, 0, core.length_mm,
                [&](std::size_t offset, VoxelIndex v, double enter, double leave) {
                  add_stretch(content, body, region, offset, v, leave - enter, right);
                });
  const double area = core.volume_mm3() / core.length_mm / static_cast<double>(nodes.size());
  for (auto* part : {&content.mm3, &content.requested_mm3, &content.water_mm3, &content.requested_water_mm3})
    for (double& value : *part) value *= area;
  content.mm3[0] += core.volume_mm3() - std::accumulate(content.mm3.begin(), content.mm3.end(), 0.0);
  return content;
}

double median_recovery(const Needle& needle) { return recovery_at(needle, 0); }

/// What a track draws for itself hangs on where its tip lies in the grid, not on its name or its company: the same
/// track gets the same figures wherever it turns up.
std::uint64_t own_stream(const Grid& grid, const Track& track) {
  const Vec3 tip = grid.index_from_lps(track.tip_lps_mm) * 1000;
  std::uint64_t stream = stream_named("track");
  for (const double coordinate : tip) stream = random_bits(stream, static_cast<std::uint64_t>(std::llround(coordinate)), 0);
  return stream;
}

/// Everything that scales one track's mass in one draw.
struct Circumstances {
  double shift_hu = 0;                 ///< offset and mean noise
  PerWeighed<double> ratio{};
  double recovered = 1;                ///< recovery and bore
};

Circumstances circumstances_of(const MassModel& model, const Track& track, double noise_mm3, double recovery,
                               std::uint64_t seed, std::uint64_t draw) {
  const Body& body = model.body();
  const std::uint64_t own = own_stream(body.grid, track);
  const double grain_mm3 = noise_grain_mm3(body.grid);
  const double averaging = std::sqrt(std::min(1.0, grain_mm3 / std::max(noise_mm3, 1e-9)));
  Circumstances c;
  c.shift_hu = body.scan.offset_sd_hu * random_normal(seed, stream_named("offset"), draw) +
               body.scan.noise_hu * averaging * random_normal(seed, own ^ stream_named("noise"), draw);
  for (std::size_t m = 0; m < c.ratio.size(); ++m) {
    const bool one_filling = m == kDensePacking && model.filling() != Filling::not_stated;   // loose or dense, it is the same matter
    const std::size_t matter = one_filling ? static_cast<std::size_t>(Material::packing) : m;
    c.ratio[m] = model.ratio()[m] * std::exp(model.composition_sd()[m] * random_normal(seed, stream_named("composition") + matter, draw));
  }
  const double half_width = track.needle.bore_tolerance_mm / track.needle.bore_mm;
  const double bore = 1 + half_width * (2 * random_uniform(seed, own ^ stream_named("bore"), draw) - 1);
  c.recovered = recovery_at(track.needle, recovery) * bore * bore;
  return c;
}

double mass_mg(const PerWeighed<double>& water_mm3, const PerWeighed<double>& mm3, const Circumstances& c) {
  double mass = 0;
  for (std::size_t m = 1; m < mm3.size(); ++m)   // air weighs nothing
    mass += (water_mm3[m] + mm3[m] * c.shift_hu / 1000) / c.ratio[m];
  return std::max(0.0, mass * c.recovered);
}

Vec3 three_normals(std::uint64_t seed, std::uint64_t stream, std::uint64_t draw) {
  return {random_normal(seed, stream, 3 * draw), random_normal(seed, stream, 3 * draw + 1),
          random_normal(seed, stream, 3 * draw + 2)};
}

/// A track's own placement error (three) and recovery, standard normals, spread evenly over all draws so that chances are
/// off by a third of what independent draws would leave: an additive recurrence (Roberts's sequence in four dimensions: powers
/// of the root of x^5 = x + 1), shifted at random, in an order shuffled anew for each track so that tracks stay independent.
class OwnErrors {
 public:
  OwnErrors(std::uint64_t seed, std::uint64_t own, int draws) : order_(static_cast<std::size_t>(draws)) {
    std::iota(order_.begin(), order_.end(), 0);
    for (std::size_t n = order_.size(); n > 1; --n)
      std::swap(order_[n - 1], order_[random_bits(seed, own ^ stream_named("order"), n) % n]);
    for (std::size_t d = 0; d < 4; ++d) shift_[d] = random_uniform(seed, own ^ stream_named("shift"), d);
  }
  [[nodiscard]] std::array<double, 4> at(int draw) const {
    constexpr double g = 1.1673039782614187;
    std::array<double, 4> z;
    double step = 1;
    for (std::size_t d = 0; d < 4; ++d) {
      step /= g;
      const double u = std::fmod(shift_[d] + step * (order_[static_cast<std::size_t>(draw)] + 1), 1.0);
      z[d] = normal_quantile(std::clamp(u, 1e-9, 1 - 1e-9));
    }
    return z;
  }

 private:
  std::vector<int> order_;
  std::array<double, 4> shift_;
};

Cylinder placed_core(const Track& track, const PlacedAxis& placed) {
  const Vec3 axis = (placed.tip_lps_mm - placed.entry_lps_mm).normalized();
  return {placed.tip_lps_mm - track.needle.throw_mm * axis, axis, track.needle.throw_mm, track.needle.bore_mm / 2};
}

}  // namespace

double noise_grain_mm3(const Grid& grid) {
  constexpr double kLeast_mm3 = 8;
  return std::max(kLeast_mm3, 2 * grid.voxel_volume_mm3());
}

PerMaterial<double> CoreContent::by_material_mm3() const {
  PerMaterial<double> by_material{};
  std::copy_n(mm3.begin(), kMaterialCount, by_material.begin());
  by_material[static_cast<std::size_t>(Material::packing)] += mm3[kDensePacking];
  return by_material;
}

double CoreContent::requested_total_mm3() const {
  return std::accumulate(requested_mm3.begin(), requested_mm3.end(), 0.0);
}

double CoreContent::foreign_fraction() const {
  const double solid = std::accumulate(mm3.begin() + 1, mm3.end(), 0.0);
  return solid > 0 ? (solid - requested_total_mm3()) / solid : 0;
}

CoreContent core_content(const Body& body, const Region& region, const Cylinder& core, int nodes) {
  return content_along(body, region, core, disc_nodes(core.radius_mm, nodes),
                       [](std::size_t, VoxelIndex) { return true; });
}

double core_margin_mm(const Body& body, const Region& region, const Cylinder& core, double most_mm) {
  const Grid& grid = body.grid;
  const double reach = core.radius_mm + most_mm + grid.spacing_mm.norm();
  const Vec3 a = grid.index_from_lps(core.start), b = grid.index_from_lps(core.at(core.length_mm));
  const Vec3 room = Vec3::Constant(reach).cwiseQuotient(grid.spacing_mm);
  const Eigen::Vector3i low = (a.cwiseMin(b) - room).array().floor().cast<int>();
  const Eigen::Vector3i high = (a.cwiseMax(b) + room).array().ceil().cast<int>();
  const double half_width = grid.spacing_mm.mean() / 2;
  double margin = most_mm;
  for (int k = low[2]; k <= high[2]; ++k)
    for (int j = low[1]; j <= high[1]; ++j)
      for (int i = low[0]; i <= high[0]; ++i) {
        const VoxelIndex v{i, j, k};
        if (region.contains(v, body.material_at(v))) continue;
        margin = std::min(margin, core.signed_distance_mm(grid.lps_from_index(Vec3(i, j, k))) - half_width);
      }
  return margin;
}

MassModel::MassModel(const Body& body, Filling filling) : body_(&body), filling_(filling) {
  const double energy_kev = body.scan.effective_energy_kev;
  const double water = mass_attenuation_cm2_per_g("H2O", energy_kev);
  const PerWeighed<Composition> weighed = compositions(filling);
  for (std::size_t m = 0; m < weighed.size(); ++m) {
    ratio_[m] = mass_attenuation_cm2_per_g(weighed[m].formula, energy_kev) / water;
    composition_sd_[m] = weighed[m].relative_sd;
  }
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  for (std::size_t c = 1; c < 255; ++c) right_below_[c] = normal_quantile(static_cast<double>(c) / 255);
  right_below_[0] = -kInfinity;
  right_below_[255] = kInfinity;
}

double MassModel::nominal_requested_mg(const CoreContent& content, const Needle& needle) const {
  return mass_mg(content.requested_water_mm3, content.requested_mm3, {0, ratio_, median_recovery(needle)});
}

double MassModel::nominal_all_mg(const CoreContent& content, const Needle& needle) const {
  return mass_mg(content.water_mm3, content.mm3, {0, ratio_, median_recovery(needle)});
}

MassDraws draw_masses(const MassModel& model, const Region& region, const Track& track, const Placement& placement,
                      std::uint64_t seed, int draws) {
  const Body& body = model.body();
  const OwnErrors own(seed, own_stream(body.grid, track), draws);
  const std::vector<DiscNode> nodes = disc_nodes(track.needle.bore_mm / 2, kDrawNodes);
  MassDraws out;
  for (int n = 0; n < draws; ++n) {
    const auto draw = static_cast<std::uint64_t>(n);
    const auto [x, y, z, recovery] = own.at(n);
    const PlacedAxis placed = placed_axis(track, placement, {x, y, z}, three_normals(seed, stream_named("shared"), draw));
    MapErrors errors(model, seed, draw);
    const CoreContent content =
        content_along(body, region, placed_core(track, placed), nodes, [&](std::size_t offset, VoxelIndex v) {
          return body.confidence.empty() || errors.right(v, body.confidence[offset]);
        });
    const Circumstances c = circumstances_of(model, track, content.requested_total_mm3(), recovery, seed, draw);
    out.requested_mg.push_back(mass_mg(content.requested_water_mm3, content.requested_mm3, c));
    out.all_mg.push_back(mass_mg(content.water_mm3, content.mm3, c));
  }
  return out;
}

double quantile_of(std::vector<double> values, double fraction) {
  std::ranges::sort(values);
  const double place = fraction * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::size_t>(place);
  const std::size_t above = std::min(below + 1, values.size() - 1);
  return std::lerp(values[below], values[above], place - std::floor(place));
}

double chance_of_at_least(const std::vector<double>& masses_mg, double need_mg) {
  const auto enough = std::ranges::count_if(masses_mg, [&](double m) { return m >= need_mg; });
  return static_cast<double>(enough) / static_cast<double>(masses_mg.size());
}

double recovery_at(const Needle& needle, double standard_normal) {
  const double middle = (needle.recovery_p05 + needle.recovery_p95) / 2;
  const double sd = (needle.recovery_p95 - needle.recovery_p05) / (2 * kQuantile95);
  return std::clamp(middle + sd * standard_normal, 0.0, 1.0);
}

}  // namespace leastharm
