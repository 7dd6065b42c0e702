#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"
#include "wall_ways.h"

namespace leastharm::segment_detail {

/// Blocks of filling that lies open where a body is broken across, 1 in a field of 0. The mouth there is as wide as the hollow behind it, so
/// that its width tells nothing; but such filling has wall all round in some plane, and beyond the mouth it soon ends. Linen between
/// arm and trunk has wall all round, too, but goes on outside.
///
/// `ways` is looked through as far as is needed. `outside` is all but support that lies outside by all else, `loose` what of
/// it is no air, `distance_mm` the way to the wall.
[[nodiscard]] std::vector<std::uint8_t> filled_to_broken_ends(const Coarse& coarse, WallWays& ways,
                                                              const std::vector<std::uint8_t>& outside,
                                                              const std::vector<std::uint8_t>& loose,
                                                              const std::vector<float>& distance_mm, int threads);

}  // namespace leastharm::segment_detail
