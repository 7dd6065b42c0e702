#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "planner/needle.h"
#include "planner/request.h"

namespace leastharm {

/// Gy's factors; see `gy_relative_sd`.
struct GyMaterial {
  double shape = 0.5;                       ///< f; flattened or elongated 0.2
  double size_range = 0.25;                 ///< g; d95/d5 over 4: 0.25, 2 to 4: 0.5, below 2: 0.75, one size: 1
  double liberation = 1;                    ///< l; sqrt(L/d), at most 1
  double fraction = 0.1;                    ///< a; mass fraction of the constituent
  double constituent_g_per_cm3 = 1.5;       ///< grain densities, never the bulk's
  double rest_g_per_cm3 = 1.5;
};

/// With the grain density of a filling; plant matter (cell wall of wood, linen) where none is stated.
[[nodiscard]] GyMaterial gy_material(Filling filling);

/// Over this relative error only presence may be claimed, never a proportion.
inline constexpr double kMostErrorForProportion = 0.3;

/// A bore lets grains of all sizes in from three times the largest particle on (ISO 18283:2006, 6.2.3, of a scoop's width).
[[nodiscard]] constexpr bool bore_is_wide_enough(double bore_mm, double grain_mm) {
  return bore_mm >= 3 * grain_mm - 1e-9;   // 2.4 mm is three times 0.8 mm, which binary fractions do not know
}

/// Relative standard deviation (a fraction) of the fundamental sampling error.
/// s^2 = f g c l d^3 (1/sample - 1/lot), c = ((1-a)/a) ((1-a) rho_m + a rho_g); d in cm, masses in g.
/// Source: Gy's formula as in Wills, Mineral Processing Technology, 1982. `lot_g` <= 0 means unlimited.
[[nodiscard]] double gy_relative_sd(const GyMaterial& material, double top_size_cm, double sample_g, double lot_g = 0);
/// Mass for a wanted relative standard deviation, g, lot unlimited.
[[nodiscard]] double gy_mass_g(const GyMaterial& material, double top_size_cm, double relative_sd);
/// Chance that a constituent present in a fraction of the grains shows up in none of `grains` grains.
[[nodiscard]] double chance_to_miss(double fraction, double grains);
/// Replicates for a wanted relative error at 95 %: n = t^2 s^2 / e^2, t iterated on n - 1 degrees of freedom, to the
/// nearest whole number as the textbooks have it; at least 2. The aim is then met in little more than half of all cases.
/// Throws BadInput where the error is not above 0, or more than a million would be needed.
[[nodiscard]] int replicates_for(double variance_percent2, double error_percent);

/// Cores whose mean tells a constituent at a tenth within 20 % (95 %), as far as Gy's error goes: the least that could do;
/// 0 where it would be more than a million.
[[nodiscard]] int replicates_for_fifth(double gy_relative_sd);

/// What one core of a given needle holds, and what that can show.
struct Enough {
  double core_mm3 = 0;
  double full_mg_lo = 0, full_mg_hi = 0;               ///< fully recovered, over the density range
  double mass_mg = 0, mass_mg_p05 = 0, mass_mg_p95 = 0;
  double p_enough = 0;
  double need_mg = 0;
  int cores_needed = 0;                                ///< for need_mg at 90 % chance, pooled; 0 = over a thousand
  double grains = 0;                                   ///< in the median mass; 0 where the grain is not known
  double bore_to_grain = 0;
  double gy_relative_sd = 0;                           ///< for a constituent at a fraction of 0.1
  double chance_to_miss_at_tenth = 0;
  int replicates_for_20_percent = 0;                   ///< see `replicates_for_fifth`; 0 where the grain is not known
  std::string conclusion;                              ///< "presence only", "a proportion", ... in one sentence
  std::vector<std::string> remarks;                    ///< bore against grain, remedies with their price
};

/// One core of a needle against a need. The densities are the 5 % and 95 % points of the material's bulk density (a
/// normal through them; equal = fixed); recovery and bore tolerance are the needle's. Grains are reckoned as spheres of
/// the largest particle's size and the filling's grain density, which is the fewest there can be; `grain_mm` 0
/// = not known. Several cores share the density; recovery is each one's own. Throws BadInput for nonsense.
[[nodiscard]] Enough enough(const Needle& needle, double density_lo_g_per_cm3, double density_hi_g_per_cm3,
                            double need_mg, double grain_mm, Filling filling = Filling::not_stated, std::uint64_t seed = 1);
[[nodiscard]] nlohmann::json to_json(const Enough& enough);

}  // namespace leastharm
