#include "planner/core_yield.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "planner/counter_random.h"
#include "planner/density.h"
#include "planner/voxel_walk.h"

namespace leastharm {

namespace {

constexpr double kQuantile95 = 1.6448536269514722;

/// With every uncertain quantity at its median.
double nominal_mg(const PerWeighed<double>& water_mm3, const PerWeighed<double>& ratio, const Needle& needle) {
  double mass = 0;
  for (std::size_t m = 1; m < water_mm3.size(); ++m) mass += water_mm3[m] / ratio[m];   // air weighs nothing
  return std::max(0.0, mass * recovery_at(needle, 0));
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
  CoreContent content;
  const auto [e1, e2] = across(core.axis);
  for (const DiscNode& node : disc_nodes(core.radius_mm, nodes))
    walk_voxels(body.grid, core.start + node.x_mm * e1 + node.y_mm * e2, core.axis, 0, core.length_mm,
                [&](std::size_t offset, VoxelIndex v, double enter, double leave) {
                  const std::uint8_t material = body.materials[offset];
                  const std::size_t m = weighed_as(material, body.hu[offset]);
                  const double length = leave - enter, water = length * as_water_mg_per_mm3(body.hu[offset]);
                  content.mm3[m] += length;
                  content.water_mm3[m] += water;
                  if (material == 0 || !region.contains(v, static_cast<Material>(material))) return;
                  content.requested_mm3[m] += length;
                  content.requested_water_mm3[m] += water;
                });
  const double area = core.volume_mm3() / core.length_mm / nodes;
  for (auto* part : {&content.mm3, &content.requested_mm3, &content.water_mm3, &content.requested_water_mm3})
    for (double& value : *part) value *= area;
  content.mm3[0] += core.volume_mm3() - std::accumulate(content.mm3.begin(), content.mm3.end(), 0.0);
  return content;
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
  return nominal_mg(content.requested_water_mm3, ratio_, needle);
}

double MassModel::nominal_all_mg(const CoreContent& content, const Needle& needle) const {
  return nominal_mg(content.water_mm3, ratio_, needle);
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
