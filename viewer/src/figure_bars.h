#pragma once

#include <string>
#include <utility>
#include <vector>

#include "ink.h"

namespace leastharm {

/// One bar: its name and the parts that add up to it.
struct Bar {
  std::string name;
  std::vector<std::pair<std::string, double>> parts;
  [[nodiscard]] double total() const;
};
inline constexpr double kBarRow = 17.5;

/// Horizontal stacked bars on one scale from 0 to `top`, each total at its bar's end.
void draw_bars(cairo_t* cairo, const Rect& where, const std::vector<Bar>& bars, double top);
/// Every part that occurs in the bars, in order of first appearance.
[[nodiscard]] std::vector<std::string> parts_of(const std::vector<Bar>& bars);
/// A swatch and a name for each, wrapped over the width. Returns the height used; draws nothing
/// without a context.
double draw_legend(cairo_t* cairo, const Rect& where, const std::vector<std::string>& parts,
                   bool draw);

}  // namespace leastharm
