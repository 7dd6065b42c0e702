#include "planner/sides.h"

#include <algorithm>
#include <limits>

#include "planner/crossing.h"

namespace leastharm {

double object_middle_x_mm(const Body& body) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  const auto& size = body.grid.size;
  for (int k = 0; k < size[2]; ++k)
    for (int j = 0; j < size[1]; ++j) {
      const std::size_t row = body.grid.offset(0, j, k);
      const auto is_in = [&](int i) { return is_object(static_cast<Material>(body.materials[row + static_cast<std::size_t>(i)])); };
      int first = 0, last = size[0] - 1;
      while (first < size[0] && !is_in(first)) ++first;
      if (first == size[0]) continue;
      while (!is_in(last)) --last;
      for (const int i : {first, last}) {   // x is linear along a row, so its ends suffice
        const double x = body.grid.lps_from_index(Vec3(i, j, k)).x();
        low = std::min(low, x);
        high = std::max(high, x);
      }
    }
  return low <= high ? (low + high) / 2 : body.grid.lps_from_index(Vec3(size[0] - 1.0, size[1] - 1.0, size[2] - 1.0) / 2).x();
}

bool sides_known(const Body& body) { return body.frame && body.frame->midline_lps_mm.size() >= 2; }

std::string side_of_core(const Body& body, const Cylinder& core, double middle_x_mm) {
  constexpr int kSamples = 41;
  double least = std::numeric_limits<double>::infinity(), most = -least;
  for (int n = 0; n < kSamples; ++n) {
    const Vec3 point = core.at(core.length_mm * n / (kSamples - 1));
    const double left = sides_known(body) ? body.frame->left_of_midline_mm(point) : point.x() - middle_x_mm;
    least = std::min(least, left - core.radius_mm);
    most = std::max(most, left + core.radius_mm);
  }
  const std::string before = sides_known(body) ? "" : "scanner ";
  return before + (least >= kSideMargin_mm ? "left" : most <= -kSideMargin_mm ? "right" : "midline");
}

}  // namespace leastharm
