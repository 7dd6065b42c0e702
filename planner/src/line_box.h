#pragma once

#include <algorithm>
#include <array>
#include <limits>

#include "imaging/grid.h"

namespace leastharm {

/// Where a line p + t d runs inside a box: from the first t to the second, which is less where it does not.
[[nodiscard]] inline std::array<double, 2> line_in_box(const Vec3& p, const Vec3& d, const Vec3& low, const Vec3& high) {
  constexpr double kFar = std::numeric_limits<double>::infinity();
  double enter = -kFar, leave = kFar;
  for (int a = 0; a < 3; ++a) {
    if (d[a] == 0) {
      if (p[a] < low[a] || p[a] > high[a]) return {kFar, -kFar};
      continue;
    }
    const double s = (low[a] - p[a]) / d[a], t = (high[a] - p[a]) / d[a];
    enter = std::max(enter, std::min(s, t));
    leave = std::min(leave, std::max(s, t));
  }
  return {enter, leave};
}

}  // namespace leastharm
