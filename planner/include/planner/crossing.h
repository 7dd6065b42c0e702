#pragma once

#include <optional>
#include <vector>

#include "planner/assess.h"
#include "planner/body.h"

namespace leastharm {

/// The object: what is neither air nor support.
[[nodiscard]] constexpr bool is_object(Material m) { return m != Material::air && m != Material::support; }

/// The materials along a straight line, in order; depths from `start`, mm. Neighbouring stretches of one material are
/// one crossing; the crossings join without gaps from `from_mm` to `to_mm` (air outside the grid). Exact on the map.
[[nodiscard]] std::vector<Crossing> crossings_along(const Body& body, const Vec3& start_lps_mm, const Vec3& direction,
                                                    double from_mm, double to_mm);

/// Total length inside one material, mm.
[[nodiscard]] double length_in(const std::vector<Crossing>& crossings, Material material);

/// Depth at which a line first meets the object at or after `from_mm`; empty where it does not before `to_mm`.
[[nodiscard]] std::optional<double> first_object_mm(const Body& body, const Vec3& start_lps_mm, const Vec3& direction,
                                                    double from_mm, double to_mm);

}  // namespace leastharm
