#pragma once

#include "classes.h"
#include "thresholds.h"

namespace leastharm::segment_detail {

/// Draws the border between air and fibre anew, half way between both, apart for outside and inside.
void settle_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
                  Volume<std::uint8_t>& codes);

/// Gives what only looks like fibre to its neighbours: inside, layers of one or two voxels at air (membranes and mixed
/// skins); outside, everything on a body that is not wrapped (`settle_skin`). In a living body (one with fat) what is
/// light inside is lung, and counts as air; what is light around it is what it lies on and under: support.
void drop_false_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, bool wrapped, int threads,
                      Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
