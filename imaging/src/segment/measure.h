#pragma once

#include <cstdint>
#include <vector>

#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// HU below which a value is no reading: padding rims that a file did not declare.
inline constexpr int kLowestReadingHu = -1500;

/// What the HU themselves say about the scanner.
struct Readings {
  bool air_found = false;    ///< a peak of room air exists
  double air_hu = -1000;     ///< its most frequent HU; -1000 where there is none
  double noise_hu = 0;       ///< standard deviation in even material
};

/// Finds the peak of air and the noise: the commonest standard deviation of blocks of 4 x 4 x 4 voxels.
[[nodiscard]] Readings measure_readings(const Volume<std::int16_t>& hu, int threads);

}  // namespace leastharm::segment_detail
