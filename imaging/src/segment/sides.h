#pragma once

#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"
#include "envelope.h"

namespace leastharm::segment_detail {

/// Flags every voxel of air and fibre as outside or inside: by its block where that is clear, and else by
/// spreading within the slice from where it is clear, so that the border follows the wall voxel by voxel.
void flag_sides(const Coarse& coarse, const std::vector<Side>& sides, int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
