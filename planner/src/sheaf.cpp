#include "sheaf.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace leastharm {
namespace {

Vec3 direction_of(double tilt, double turn) {
  return {std::cos(tilt) * std::cos(turn), std::cos(tilt) * std::sin(turn), std::sin(tilt)};
}

}  // namespace

Sheaf::Sheaf(double tilt_low, double tilt_high, double turn_low, double turn_high)
    : tilt_low_(tilt_low), tilt_high_(tilt_high), turn_low_(turn_low), turn_high_(turn_high) {
  const double tilt = (tilt_low + tilt_high) / 2, turn = (turn_low + turn_high) / 2;
  middle_ = direction_of(tilt, turn);
  first_ = Vec3(-std::sin(turn), std::cos(turn), 0);
  second_ = middle_.cross(first_);
  // Both slopes are monotonic or have their extreme on the middle lines, so the border's points tell the largest.
  constexpr int kSteps = 4;
  for (int a = 0; a <= kSteps; ++a)
    for (int b = 0; b <= kSteps; ++b) {
      const Vec3 d = direction_of(std::lerp(tilt_low, tilt_high, static_cast<double>(a) / kSteps),
                                  std::lerp(turn_low, turn_high, static_cast<double>(b) / kSteps));
      const double along = d.dot(middle_);
      slope_[0] = std::max(slope_[0], std::abs(d.dot(first_)) / along);
      slope_[1] = std::max(slope_[1], std::abs(d.dot(second_)) / along);
    }
}

std::array<Sheaf, 4> Sheaf::quarters() const {
  const double tilt = (tilt_low_ + tilt_high_) / 2, turn = (turn_low_ + turn_high_) / 2;
  return {Sheaf(tilt_low_, tilt, turn_low_, turn), Sheaf(tilt_low_, tilt, turn, turn_high_),
          Sheaf(tilt, tilt_high_, turn_low_, turn), Sheaf(tilt, tilt_high_, turn, turn_high_)};
}

std::vector<Sheaf> all_sheaves(double tilt_deg, double slope) {
  const double limit = std::min(tilt_deg, 89.0) * std::numbers::pi / 180 + 1e-9, step = 2 * std::atan(slope);
  const int rows = std::max(1, static_cast<int>(std::ceil(2 * limit / step)));
  std::vector<Sheaf> sheaves;
  for (int r = 0; r < rows; ++r) {
    const double low = -limit + 2 * limit * r / rows, high = -limit + 2 * limit * (r + 1) / rows;
    const double widest = low * high <= 0 ? 1 : std::cos(std::min(std::abs(low), std::abs(high)));
    const int count = std::max(4, static_cast<int>(std::ceil(2 * std::numbers::pi * widest / step)));
    for (int n = 0; n < count; ++n)
      sheaves.emplace_back(low, high, 2 * std::numbers::pi * n / count, 2 * std::numbers::pi * (n + 1) / count);
  }
  return sheaves;
}

}  // namespace leastharm
