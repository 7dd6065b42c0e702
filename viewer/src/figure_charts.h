#pragma once

#include <string>
#include <vector>

#include "ink.h"

namespace leastharm {

/// One core's mass: median, 90 % interval and what is needed.
struct MassRow {
  std::string name;
  double median_mg = 0, low_mg = 0, high_mg = 0, need_mg = 0;  ///< need 0: none known
};
inline constexpr double kMassRow = 14;
[[nodiscard]] double height_of_masses(std::size_t rows);
/// A line from low to high with a dot at the median for each core, and a bar where its need lies.
void draw_masses(cairo_t* cairo, const Rect& where, const std::vector<MassRow>& rows);

/// One curve: a name and how many grains were taken.
struct MissCurve {
  std::string name;
  double grains = 0;
};
/// Chance to miss a constituent altogether against the share of the grains that carry it.
void draw_miss_curves(cairo_t* cairo, const Rect& where, const std::vector<MissCurve>& curves);

}  // namespace leastharm
