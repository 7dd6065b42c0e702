#pragma once

#include "directions.h"
#include "ink.h"
#include "needle_log.h"
#include "slice.h"
#include "viewer/print.h"

namespace leastharm {

/// HU interval of all sections, printed in their captions.
inline constexpr GreyScale kGreyScale{-1000, 500};

/// One millimetre axis for the section and the log beneath it: depth from left to right.
struct DepthAxis {
  double from_mm = 0, to_mm = 1;  ///< depth at the two ends
  double x0 = 0, x1 = 1;          ///< where they lie on the page

  [[nodiscard]] double pt_per_mm() const { return (x1 - x0) / (to_mm - from_mm); }
  [[nodiscard]] double x(double depth_mm) const { return x0 + (depth_mm - from_mm) * pt_per_mm(); }
};
[[nodiscard]] DepthAxis depth_axis(const TrackAssessment& track, const Rect& column);

/// The section that contains the needle, filling `where` between the axis' ends.
void draw_section_along(cairo_t* cairo, const Rect& where, const Paper& paper,
                        const TrackAssessment& track, const DepthAxis& axis);
/// Material bands, HU, distance to the nearest keep-out, certainty of the map, and the depth scale.
void draw_crossing_log(cairo_t* cairo, const Rect& where, const Paper& paper,
                       const TrackAssessment& track, const DepthAxis& axis);
inline constexpr double kLogHeight = 206.5;

/// Straight across the needle at the core's middle, looking along it; outer circle and bore to
/// scale.
void draw_section_across(cairo_t* cairo, const Rect& where, const Paper& paper,
                         const TrackAssessment& track);
/// The scanner's own slice through the core's middle. Returns its index.
int draw_scanner_slice(cairo_t* cairo, const Rect& where, const Paper& paper,
                       const TrackAssessment& track);

/// The two diameters of the hole in the surface, mm: the needle's, and the one drawn out by the
/// slope of the entry.
struct HoleSize {
  double across_mm = 0, along_mm = 0;
};
[[nodiscard]] HoleSize hole_size(const TrackAssessment& track);
/// The hole at its true size on paper, with a bar of 20 mm to check the printer by.
void draw_true_hole(cairo_t* cairo, const Rect& where, const TrackAssessment& track);
/// The outline alone, its middle at (x, y).
void add_true_hole(cairo_t* cairo, const HoleSize& hole, double x, double y);

}  // namespace leastharm
