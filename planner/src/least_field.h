#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "imaging/grid.h"
#include "short_float.h"

namespace leastharm {

/// At most the least of a field within a radius of a point: what a lattice sees that is too coarse for the field itself. One value
/// a block of space, beginning at the field's first node; 0 beyond the field. Points as the field's.
class LeastField {
 public:
  /// `least`: of the field in blocks of `spacing_mm`, one a value. `per_block`: how many of them along each axis become one.
  LeastField(const Volume<float>& least, double radius_mm, int per_block);

  [[nodiscard]] float at(const Vec3& p) const {
    const Vec3 b = p * per_mm_;
    if (!(b.minCoeff() >= 0) || !(b.array() < limit_.array()).all()) return 0;
    return static_cast<float>(values_[grid_.offset(static_cast<int>(b.x()), static_cast<int>(b.y()), static_cast<int>(b.z()))]);
  }
  /// Values at from, from + step, ...: one for each element of `out`.
  void at_row(const Vec3& from, const Vec3& step, std::span<float> out) const {
    for (std::size_t n = 0; n < out.size(); ++n) out[n] = at(from + static_cast<double>(n) * step);
  }

 private:
  Grid grid_;
  double per_mm_ = 1;
  Vec3 limit_{0, 0, 0};
  std::vector<ShortFloat> values_;
};

}  // namespace leastharm
