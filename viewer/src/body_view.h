#pragma once

#include <cairo.h>

#include <cstdint>
#include <vector>

#include "ink.h"
#include "planner/body.h"

namespace leastharm {

/// The object seen along one direction, without perspective: its lit surface, drawn from the
/// material map.
struct BodyView {
  Vec3 right, up, toward;  ///< unit axes of the page, and the way to the onlooker
  double left_mm = 0,
         top_mm = 0;  ///< coordinates along `right` and `up` of the image's top left corner
  double mm_per_px = 1;
  int width = 0, height = 0;
  std::vector<std::uint8_t> light;  ///< row by row; 255 = nothing there

  [[nodiscard]] double width_mm() const { return width * mm_per_px; }
  [[nodiscard]] double height_mm() const { return height * mm_per_px; }
};
[[nodiscard]] BodyView look_at(const Body& body, const Vec3& right, const Vec3& up,
                               double mm_per_px = 0.8);

/// Where a view lies on the page.
struct PlacedView {
  const BodyView& view;
  Rect where;
  [[nodiscard]] double scale() const { return where.width / view.width_mm(); }  ///< pt per mm
  [[nodiscard]] double x(const Vec3& lps_mm) const {
    return where.x + (lps_mm.dot(view.right) - view.left_mm) * scale();
  }
  [[nodiscard]] double y(const Vec3& lps_mm) const {
    return where.y + (view.top_mm - lps_mm.dot(view.up)) * scale();
  }
};
/// Blanks every pixel that a voxel of the mask would fall on, from whichever depth.
void withhold(BodyView& view, const Mask& mask);
void paint_view(cairo_t* cairo, const PlacedView& placed);

}  // namespace leastharm
