#pragma once

#include "classes.h"

namespace leastharm::segment_detail {

/// Gives bone's outermost voxels back to tissue where less than half of them is bone: where their level stays below half way from
/// tissue to the body's own compact bone. Compact bone has the same HU all over a body; where its shell is thinner than a
/// voxel, spongy bone takes up the rest of the voxel beneath it, and half a voxel of bone reads less: half way is then lower.
/// Beside air, fibre or spongy bone the voxel mixes with those, not with tissue, and the threshold of mineral holds; but one voxel between air
/// and tissue may be a sharp kernel's overshoot, and must be half bone as well.
void trim_bone(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
               Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
