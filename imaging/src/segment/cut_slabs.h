#pragma once

#include <vector>

#include "slabs.h"

namespace leastharm::segment_detail {

/// Supports whose outer face lies beyond the volume or the scanner's round field: seen from an end they begin at its border, and where nothing lies on
/// them they end in air, at a depth that does not change along the body and is a parabola (or a line) across it. At the body's head and foot
/// they must make up most of the section.
[[nodiscard]] std::vector<Slab> find_cut_slabs(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& levels, const Coarse& coarse,
                                               const Thresholds& thresholds);

}  // namespace leastharm::segment_detail
