#pragma once

#include "ink.h"
#include "slice.h"

namespace leastharm {

/// Outlines of the marks on a plane: keep-outs dashed and named, cavities dotted.
void draw_marks(cairo_t* cairo, const Body& body, const SlicePlane& plane, const Rect& where);

}  // namespace leastharm
