#pragma once

#include "classes.h"

namespace leastharm::segment_detail {

/// Gives bone's outermost voxels to tissue where less than half of them is bone: where their level stays below half way from what lies
/// next to them outwards, tissue at most, to the bone of their place. Compact bone has the same HU all over a body; where its shell is thinner than a
/// voxel, spongy bone takes up the rest of the voxel beneath it, and half a voxel of bone reads less: half way is then lower.
/// Beside air or linen a voxel mixes with those and with the thin skin over the bone: how much of the next voxel outwards is
/// tissue tells how much. One voxel between air and tissue may be a sharp kernel's overshoot, and must be half bone as beside tissue.
void trim_bone(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
               Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
