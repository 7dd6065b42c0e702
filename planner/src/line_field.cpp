#include "line_field.h"

#include <algorithm>
#include <cmath>

#include "line_box.h"

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
  const auto as_double = [](const std::array<float, 3>& v) -> Vec3 { return Eigen::Vector3f(v[0], v[1], v[2]).cast<double>(); };
  const Vec3 inverse = as_double(inverse_);
  return line_in_box(p.cwiseProduct(inverse) + Vec3::Ones(), d.cwiseProduct(inverse), Vec3::Zero(), as_double(limit_));
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
