#pragma once

#include <array>
#include <span>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// A scalar field given at the nodes of a grid and trilinear between them, zero beyond. Points are in mm along the
/// grid's own axes, with node (0, 0, 0) at the origin. Made for sums along many lines.
class LineField {
 public:
  LineField() = default;
  explicit LineField(const Volume<float>& nodes);

  /// Value at a point; zero outside the nodes' box.
  [[nodiscard]] float at(const Vec3& p) const {
    const float x = static_cast<float>(p.x()) * inverse_[0] + 1, y = static_cast<float>(p.y()) * inverse_[1] + 1,
                z = static_cast<float>(p.z()) * inverse_[2] + 1;
    return inside(x, y, z) ? sample(x, y, z) : 0.0f;
  }
  /// Where a line p + t d runs inside the nodes' box: from the first t to the second, which is no greater where it does not.
  [[nodiscard]] std::array<double, 2> range(const Vec3& p, const Vec3& d) const;
  /// Values at from, from + step, ...: one for each element of `out`.
  void at_row(const Vec3& from, const Vec3& step, std::span<float> out) const {
    const float x = static_cast<float>(from.x()) * inverse_[0] + 1, y = static_cast<float>(from.y()) * inverse_[1] + 1,
                z = static_cast<float>(from.z()) * inverse_[2] + 1;
    const float u = static_cast<float>(step.x()) * inverse_[0], v = static_cast<float>(step.y()) * inverse_[1],
                w = static_cast<float>(step.z()) * inverse_[2];
    for (std::size_t n = 0; n < out.size(); ++n) {
      const float t = static_cast<float>(n), a = x + t * u, b = y + t * v, c = z + t * w;
      out[n] = inside(a, b, c) ? sample(a, b, c) : 0.0f;
    }
  }
  /// Integral along the segment, by the midpoint rule with steps of at most `step_mm`.
  [[nodiscard]] double integral(const Vec3& from, const Vec3& to, double step_mm) const;

 private:
  [[nodiscard]] bool inside(float x, float y, float z) const {
    return x >= 0 && y >= 0 && z >= 0 && x < limit_[0] && y < limit_[1] && z < limit_[2];
  }
  [[nodiscard]] float sample(float x, float y, float z) const {
    const int i = static_cast<int>(x), j = static_cast<int>(y), k = static_cast<int>(z);
    const float fx = x - static_cast<float>(i), fy = y - static_cast<float>(j), fz = z - static_cast<float>(k);
    const float* c = values_.data() + i + stride_j_ * j + stride_k_ * k;
    const float* d = c + stride_k_;
    const float c0 = c[0] + fx * (c[1] - c[0]), c1 = c[stride_j_] + fx * (c[stride_j_ + 1] - c[stride_j_]);
    const float d0 = d[0] + fx * (d[1] - d[0]), d1 = d[stride_j_] + fx * (d[stride_j_ + 1] - d[stride_j_]);
    const float e = c0 + fy * (c1 - c0), f = d0 + fy * (d1 - d0);
    return e + fz * (f - e);
  }

  std::vector<float> values_;             // with a border of one node of zeros all round
  std::array<float, 3> inverse_{1, 1, 1}, limit_{0, 0, 0};
  std::ptrdiff_t stride_j_ = 0, stride_k_ = 0;
};

}  // namespace leastharm
