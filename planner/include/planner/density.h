#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "imaging/grid.h"
#include "imaging/material.h"

namespace leastharm {

/// Mass attenuation coefficient of a chemical compound or a mass-fraction mixture, cm2/g, at `energy_kev`.
/// Source: xraylib's tables. Throws BadInput for a formula that xraylib cannot read.
[[nodiscard]] double mass_attenuation_cm2_per_g(const char* formula, double energy_kev);

/// The composition taken for a material, and how far it may be off.
struct Composition {
  const char* name;            ///< "cellulose", ...
  const char* formula;         ///< for xraylib
  double relative_sd;          ///< of (mu/rho)/(mu/rho)_water over the compositions the material may have
};
[[nodiscard]] Composition composition_of(Material material);

/// What packing consists of, where somebody said so. At the same HU mineral weighs 15 to 30 % less than plant fibre.
enum class Filling : std::uint8_t { not_stated, plant_fibre, sand, mud, natron };
inline constexpr std::array<std::string_view, 5> kFillingNames{"not stated", "plant fibre", "sand", "mud", "natron"};
[[nodiscard]] constexpr std::string_view name_of(Filling filling) { return kFillingNames[static_cast<std::size_t>(filling)]; }
/// Of packing above `kLoosestMineralHu`; where nothing is stated, one between fibre and natron whose range covers both.
[[nodiscard]] Composition composition_of(Filling filling);
/// Between its loosest bulk and its solid grain or cell wall, g/cm3. Sources: handbook bulk densities of sand and clay;
/// quartz, cell wall and natron's solid mixture for the upper ends; the lower ends of mud and natron from memory.
struct DensityRange {
  double least = 0, most = 0;
};
[[nodiscard]] DensityRange density_range_of(Filling filling);

/// Below this packing can only be loose plant fibre: the loosest mineral filling, some 0.7 g/cm3 (light crushed earth; from
/// memory), reads -245 HU through kaolinite, and fibre would have to be pressed to 0.8.
inline constexpr int kLoosestMineralHu = -250;

/// Voxels are weighed as their material, but for packing above `kLoosestMineralHu`, which is weighed apart.
inline constexpr std::size_t kDensePacking = kMaterialCount;
template <typename T>
using PerWeighed = std::array<T, kMaterialCount + 1>;
[[nodiscard]] constexpr std::size_t weighed_as(std::uint8_t material, std::int16_t hu) {
  return material == static_cast<std::uint8_t>(Material::packing) && hu > kLoosestMineralHu ? kDensePacking : material;
}
/// What a voxel would weigh if it were water, mg/mm3; nothing where the scanner measured nothing.
[[nodiscard]] constexpr double as_water_mg_per_mm3(std::int16_t hu) { return hu == kNoReadingHu ? 0 : 1 + hu / 1000.0; }
/// How each of them is weighed under a filling.
[[nodiscard]] PerWeighed<Composition> compositions(Filling filling);

/// g/cm3: (1 + HU/1000) / R, with R = (mu/rho)_material / (mu/rho)_water. Linear in HU and not clipped below -1000,
/// where clipping would bias a mean upward.
[[nodiscard]] double density_g_per_cm3(double hu, const Composition& composition, double energy_kev);
[[nodiscard]] double density_g_per_cm3(double hu, Material material, double energy_kev);

/// Effective energy of a scan at a tube voltage, keV: 120 kVp is about 68. Voltages from 70 to 150.
[[nodiscard]] double effective_energy_kev(double tube_kvp);

}  // namespace leastharm
