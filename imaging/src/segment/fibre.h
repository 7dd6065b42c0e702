#pragma once

#include "classes.h"
#include "thresholds.h"

namespace leastharm::segment_detail {

/// What the loose fibre of a scan is.
struct FibreReport {
  bool wrapped = true;        ///< some of the fibre outside is thicker than a mixed skin of two voxels
  bool lung = false;          ///< what is light inside was taken for lung, and counts as air
};

/// Draws the border between air and fibre anew, half way between both, apart for outside and inside.
void settle_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
                  Volume<std::uint8_t>& codes);

/// Gives what only looks like fibre to its neighbours: inside, layers of one or two voxels at air (membranes and mixed
/// skins); outside, everything when nothing there is thicker (a bare body); and the lungs of a body
/// whose tissue is as even as a living one's.
FibreReport drop_false_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, bool even_tissue,
                             int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
