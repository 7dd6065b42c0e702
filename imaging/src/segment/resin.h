#pragma once

#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// How uneven tissue is, block by block (see variation_hu). Dried remains vary from place to place; resin, living flesh
/// and plastic hardly do.
struct TissueTexture {
  std::vector<float> variation_hu;
  double typical_hu = 0;   ///< median where finite; 0 where there is too little tissue to say

  /// True where tissue is as even as a living or plastic body's.
  [[nodiscard]] bool even() const;
};

[[nodiscard]] TissueTexture tissue_texture(const Coarse& coarse, const Shares& shares, double noise_hu);

/// Relabels pooled resin from body to resin: matter in tissue's range that is much more even than the tissue around it,
/// or, where tissue itself is even, of clearly other HU; with a free surface somewhere. HU alone cannot tell resin from bitumen, wax or tissue.
void find_resin(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                const TissueTexture& tissue, const Thresholds& thresholds, int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
