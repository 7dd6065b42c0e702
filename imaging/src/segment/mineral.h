#pragma once

#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// Relabels sand, mud and other mineral filling from bone to packing. A deep body of even mineral is filling unless a
/// shell denser than itself encloses it, as cortical bone does spongy bone, or it is no deeper than a bone is in
/// a body of this size. `half_thickness_mm` is that of the body with its hollows.
void find_mineral_packing(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                          double half_thickness_mm, double noise_hu, int threads,
                          Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
