#include "line_field.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace leastharm {

LineField::LineField(const Volume<float>& nodes) {
  const auto [ni, nj, nk] = nodes.grid.size;
  stride_j_ = ni + 2;
  stride_k_ = stride_j_ * (nj + 2);
  values_.assign(static_cast<std::size_t>(stride_k_ * (nk + 2)), 0.0f);
  for (int k = 0; k < nk; ++k)
    for (int j = 0; j < nj; ++j)
      std::copy_n(nodes.values.begin() + static_cast<std::ptrdiff_t>(nodes.grid.offset(0, j, k)), ni,
                  values_.begin() + 1 + stride_j_ * (j + 1) + stride_k_ * (k + 1));
  for (std::size_t a = 0; a < 3; ++a) {
    inverse_[a] = static_cast<float>(1 / nodes.grid.spacing_mm[static_cast<Eigen::Index>(a)]);
    limit_[a] = static_cast<float>(nodes.grid.size[a] + 1);
  }
}

std::array<double, 2> LineField::range(const Vec3& p, const Vec3& d) const {
  std::array<double, 2> range{-std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity()};
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    const double at = p[e] * static_cast<double>(inverse_[a]) + 1, way = d[e] * static_cast<double>(inverse_[a]);
    const double limit = static_cast<double>(limit_[a]);
    if (way == 0) {
      if (at < 0 || at >= limit) return {0, 0};
      continue;
    }
    const double low = -at / way, high = (limit - at) / way;
    range[0] = std::max(range[0], std::min(low, high));
    range[1] = std::min(range[1], std::max(low, high));
  }
  return range;
}

double LineField::integral(const Vec3& from, const Vec3& to, double step_mm) const {
  const double length = (to - from).norm();
  const int steps = std::max(1, static_cast<int>(std::ceil(length / step_mm)));
  const Vec3 step = (to - from) / steps;
  double sum = 0;
  for (int s = 0; s < steps; ++s) sum += static_cast<double>(at(from + (s + 0.5) * step));
  return sum * length / steps;
}

}  // namespace leastharm
