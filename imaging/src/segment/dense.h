#pragma once

#include "classes.h"
#include "thresholds.h"

namespace leastharm::segment_detail {

/// Relabels from bone to dense: metal, wherever it is; and small solid pieces of mineral apart from the skeleton that
/// are brighter than its pieces of that size are (stone, faience, fired clay).
void find_dense(const Volume<std::uint8_t>& levels, const LevelCounts& counts, int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
