#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"

namespace leastharm::segment_detail {

/// Distance of each block's centre to the nearest centre where `set` is not zero, mm; exact up to float rounding.
/// Infinite where the set is empty. Felzenszwalb and Huttenlocher 2012, Theory of Computing 8:415-428.
[[nodiscard]] std::vector<float> distance_mm(const Coarse& coarse, const std::vector<std::uint8_t>& set,
                                             int threads);

/// Blocks within `radius_mm` of the set.
[[nodiscard]] std::vector<std::uint8_t> grown(const Coarse& coarse, const std::vector<std::uint8_t>& set,
                                              double radius_mm, int threads);
/// Blocks of the set farther than `radius_mm` from what is not in it; the volume's border does not wear it down.
[[nodiscard]] std::vector<std::uint8_t> shrunk(const Coarse& coarse, const std::vector<std::uint8_t>& set,
                                               double radius_mm, int threads);

}  // namespace leastharm::segment_detail
