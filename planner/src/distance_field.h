#pragma once

#include <cstdint>
#include <span>

#include "imaging/grid.h"

namespace leastharm {

/// Distance from every voxel's centre to the nearest centre of a set voxel, mm, exact for any spacing; `far_mm` where it
/// is greater. Source: Felzenszwalb and Huttenlocher, Theory of Computing 8 (2012) 415-428.
[[nodiscard]] Volume<float> distance_to(const Grid& grid, std::span<const std::uint8_t> set, double far_mm);

}  // namespace leastharm
