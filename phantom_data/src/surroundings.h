#pragma once

#include "scene.h"

namespace leastharm::phantom {

/// The largest y (the deepest place of an object lying on its back) inside `within`, to about a millimetre.
/// `within.low.y()` where nothing is there.
[[nodiscard]] double lowest_y(const Shape& outside, const Box& within);

/// A plank under y = `top_y`, as long as `content`.
[[nodiscard]] Parts board(const Box& content, double top_y, double half_width_mm, double thickness_mm);
/// A wooden box with a lid, round the space `inside`.
[[nodiscard]] Parts coffin(const Box& inside, double wall_mm);
/// A scanner's table: a curved thin skin of carbon fibre round foam. Its upper side is lowest in the middle, at `top_y`.
[[nodiscard]] Parts table(const Box& content, double top_y);

}  // namespace leastharm::phantom
