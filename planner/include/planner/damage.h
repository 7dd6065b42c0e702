#pragma once

#include <string>
#include <utility>
#include <vector>

#include "planner/assess.h"

namespace leastharm {

/// What a track does, before it is weighed.
struct Harm {
  PerMaterial<double> swept_mm3{};
  double hole_mm2 = 0;                                        ///< 0 through an opening
  std::vector<std::pair<const Mark*, double>> zone_mm2;       ///< the hole's area inside each zone
  std::vector<std::pair<std::string, double>> near_mm3;       ///< expected intrusion into each keep-out
};

/// score = sum over materials c V + c_hole A_hole + sum over zones c_z A_zone + sum over keep-outs c_k E[intrusion].
/// Parts in this order; materials (air and support left out) in the order of their labels, parts of zero weight or size
/// left out, except "hole".
[[nodiscard]] Damage damage_of(const Weights& weights, const Harm& harm);

}  // namespace leastharm
