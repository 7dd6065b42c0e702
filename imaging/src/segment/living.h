#pragma once

#include "coarse.h"

namespace leastharm::segment_detail {

/// Whether the layer under the skin has the HU of fat, and what lies deep is lean: a body as in life, or a plastic one made
/// like it. What dried lost its fat or holds it mixed with the rest, and its skin is the densest of its tissue.
[[nodiscard]] bool fat_under_skin(const Coarse& coarse, const Shares& shares, int threads);

}  // namespace leastharm::segment_detail
