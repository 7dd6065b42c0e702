#pragma once

#include <array>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// A sheaf: all directions whose tilt out of the axial plane and turn within it lie in two intervals. In the search's
/// frame. Every one of them is a positive multiple of middle + a first + b second with |a| <= slope[0], |b| <= slope[1].
class Sheaf {
 public:
  Sheaf(double tilt_low, double tilt_high, double turn_low, double turn_high);   ///< radians

  [[nodiscard]] const Vec3& middle() const { return middle_; }
  [[nodiscard]] const Vec3& first() const { return first_; }     ///< square to the middle, in the axial plane
  [[nodiscard]] const Vec3& second() const { return second_; }   ///< square to both
  [[nodiscard]] const std::array<double, 2>& slope() const { return slope_; }
  /// Four sheaves that cover this one.
  [[nodiscard]] std::array<Sheaf, 4> quarters() const;

 private:
  double tilt_low_, tilt_high_, turn_low_, turn_high_;
  Vec3 middle_, first_, second_;
  std::array<double, 2> slope_{0, 0};
};

/// Sheaves of slopes at most `slope` that cover all directions within the tilt limit, in a fixed order.
[[nodiscard]] std::vector<Sheaf> all_sheaves(double tilt_deg, double slope);

}  // namespace leastharm
