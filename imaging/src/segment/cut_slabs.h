#pragma once

#include <vector>

#include "slabs.h"

namespace leastharm::segment_detail {

/// Supports whose outer face lies beyond the volume: seen from an end they begin at its border, and where nothing lies on
/// them they end in air, at a depth that does not change along the body and is a parabola (or a line) across it.
[[nodiscard]] std::vector<Slab> find_cut_slabs(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Thresholds& thresholds);

}  // namespace leastharm::segment_detail
