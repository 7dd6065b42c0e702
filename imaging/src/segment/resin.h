#pragma once

#include <vector>

#include "classes.h"
#include "coarse.h"
#include "envelope.h"

namespace leastharm::segment_detail {

/// How uneven tissue is, block by block (see variation_hu). Dried remains vary from place to place; resin, living flesh
/// and plastic hardly do.
struct TissueTexture {
  std::vector<float> variation_hu;
  double typical_hu = 0;   ///< median where finite; 0 where there is too little tissue to say
  double tissue_hu = 0;    ///< the commonest mean of whole blocks of tissue,
  double spread_hu = 0;    ///< and the standard deviation of those near it
  std::size_t blocks = 0;  ///< whose variation is known
  double block_noise_hu = 0, least_seen_hu = 0;   ///< of a block's mean; the variation that noise alone feigns

  /// True where tissue is as even as a living or plastic body's.
  [[nodiscard]] bool even() const;
};

[[nodiscard]] TissueTexture tissue_texture(const Coarse& coarse, const Shares& shares, double noise_hu);

/// Relabels pooled resin from body to resin: what stands level inside the body, whatever its HU; and matter in tissue's range
/// with a free surface somewhere that is much more even than the tissue around it, or, where tissue itself is even, of clearly other HU. HU alone cannot tell resin from bitumen, wax or tissue.
void find_resin(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                const TissueTexture& tissue, const std::vector<Side>& sides, double half_thickness_mm, int threads, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
