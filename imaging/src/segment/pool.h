#pragma once

#include <cstddef>
#include <vector>

#include "classes.h"
#include "envelope.h"
#include "level_surface.h"
#include "regions.h"

namespace leastharm::segment_detail {

/// What stands below a level surface: voxels of tissue straight below it, down to bone, to air or to tissue of other HU.
struct Standing {
  std::vector<std::size_t> voxels;   ///< by rising index
  LevelStatistic levels;             ///< of what lies a little below the surface
};

/// Nothing where most of it was found to be resin already. Where HU do not part what stands from the body's wall below it, `wall_mm` of tissue are left to the wall.
[[nodiscard]] Standing standing_below(const LevelSurface& surface, const Volume<std::uint8_t>& levels,
                                      const Volume<std::uint8_t>& codes, const Coarse& coarse, double wall_mm, int threads);

/// How thick tissue usually is between what is inside and outside, mm; 0 where nothing is inside.
[[nodiscard]] double wall_mm(const Coarse& coarse, const std::vector<Side>& sides, int threads);

}  // namespace leastharm::segment_detail
