#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "imaging/grid.h"

namespace leastharm {

/// No scanner measures below this: rims outside the field of view are written as -2000, -2048 or -3024.
inline constexpr double kLowestReading_hu = -1900;

/// A value as HU: rounded, at most 32767; kNoReadingHu where it is no number or no scanner's reading.
[[nodiscard]] inline std::int16_t hu_from(double value) {
  if (!(value > kLowestReading_hu)) return kNoReadingHu;
  return static_cast<std::int16_t>(std::lround(std::min(value, 32767.0)));
}

}  // namespace leastharm
