#pragma once

#include <cstddef>
#include <vector>

#include "classes.h"
#include "envelope.h"
#include "level_surface.h"
#include "pool_border.h"
#include "regions.h"

namespace leastharm::segment_detail {

/// What a little below a level surface reads, as far from the bottom as from the surface; half way down where it is too shallow for that.
struct PoolReading {
  Normal levels;
  bool none = true;      ///< nothing can be read
  bool found = false;    ///< most of it was found to be resin already
};
[[nodiscard]] PoolReading read_pool(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes);

/// What tells where a pool ends.
struct PoolEnd {
  const Favour* favour = nullptr;   ///< none where levels do not part resin from tissue:
  double wall_mm = 0;               ///< then so much tissue is left to the body's wall below it
};

/// What stands below a level surface.
struct Standing {
  std::vector<std::size_t> voxels;   ///< by rising index
  double unevenness = 0;             ///< standard deviation of the mean levels of neighbourhoods of 27 voxels clear of surface and bottom
  bool deep = false;                 ///< whether enough of them are there to say
};

/// Tissue straight below a level surface, down to bone or air, or to where it is likeliest that tissue begins.
[[nodiscard]] Standing standing_below(const LevelSurface& surface, const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                                      const PoolEnd& pool_end, const Coarse& coarse, int threads);

/// Labels as resin what stands, and tissue beside it that is likelier resin and no higher than the surface.
void label_standing(const LevelSurface& surface, const Standing& standing, const Volume<std::uint8_t>& levels, const Favour* favour,
                    const Coarse& coarse, Volume<std::uint8_t>& codes);

/// How thick tissue usually is between what is inside and outside, mm; 0 where nothing is inside.
[[nodiscard]] double wall_mm(const Coarse& coarse, const std::vector<Side>& sides, int threads);

}  // namespace leastharm::segment_detail
