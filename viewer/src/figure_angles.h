#pragma once

#include <cairo.h>

#include "ink.h"

namespace leastharm {

/// What the three angles of a track mean: to the surface, in the axial plane, and out of it.
void draw_angle_key(cairo_t* cairo, const Rect& where);
inline constexpr double kAngleKeyHeight = 84;

}  // namespace leastharm
