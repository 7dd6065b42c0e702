#pragma once

#include <string>

#include "planner/body.h"
#include "planner/cylinder.h"

namespace leastharm {

/// How far all of a core must lie from the midline to belong to a side, mm.
inline constexpr double kSideMargin_mm = 3;

/// Middle of the object's bounding box along LPS x, mm; what stands for the midline before a frame is confirmed.
[[nodiscard]] double object_middle_x_mm(const Body& body);

/// Whether left and right of the object are known: a confirmed frame with a midline of at least two points.
[[nodiscard]] bool sides_known(const Body& body);

/// "left", "right" or "midline" where the sides are known; else the same with "scanner " before it, by LPS x
/// about `middle_x_mm` (+x is the left of a body that lies as the scanner thinks).
[[nodiscard]] std::string side_of_core(const Body& body, const Cylinder& core, double middle_x_mm);

}  // namespace leastharm
