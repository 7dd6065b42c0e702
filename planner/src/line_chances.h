#pragma once

#include <vector>

#include "search_route.h"

namespace leastharm {

/// Quick chance that a core holds enough, by the depth of its tip on one line. The placement error shifts the line to places
/// spread evenly over its disc, by as much as it is at the core's middle (a core's own turn is left out), and the tip along it.
class LineChances {
 public:
  /// On the route's line; no tip lies before `first_mm` (depth). `need_factor` of the need.
  LineChances(const SearchScene& scene, const Route& route, double first_mm, double need_factor = 1);
  /// With the tip at `depth_mm`, from 0 to 1.
  [[nodiscard]] double at(double depth_mm);

 private:
  void look_as_deep_as(double depth_mm);

  const Ask& ask_;
  double need_factor_, depth_sd_mm_, begin_mm_;
  std::vector<Vec3> lines_;    ///< their points at depth 0, in the field of yields
  Vec3 direction_;
  std::vector<float> sums_;    ///< mg from begin_mm_ on, one a line: first at no step, then at one step, ...
};

/// The same for one tip.
[[nodiscard]] double estimated_p_enough(const SearchScene& scene, const Route& route, double need_factor = 1);

}  // namespace leastharm
