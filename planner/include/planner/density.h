#pragma once

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

/// g/cm3: (1 + HU/1000) / R, with R = (mu/rho)_material / (mu/rho)_water. Linear in HU and not clipped below -1000,
/// where clipping would bias a mean upward.
[[nodiscard]] double density_g_per_cm3(double hu, Material material, double energy_kev);

/// Effective energy of a scan at a tube voltage, keV: 120 kVp is about 68. Voltages from 70 to 150.
[[nodiscard]] double effective_energy_kev(double tube_kvp);

}  // namespace leastharm
