#pragma once

#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// A flat piece of tissue's surface inside the body: what was liquid stands level. Positions in mm along the grid's axes from the
/// centre of its first voxel.
struct LevelSurface {
  Vec3 point{0, 0, 0}, normal{0, 0, 1};   ///< unit normal, towards air
  std::vector<Vec3> places;               ///< one a block
};

/// The flat pieces of surface between tissue and the air or packing inside, largest first; only those that are flat over at least
/// `least_mm` both ways, and beyond whose edge the surface rises, as that of a liquid in a vessel does.
[[nodiscard]] std::vector<LevelSurface> level_surfaces(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                                                       const Coarse& coarse, double least_mm, int threads);

}  // namespace leastharm::segment_detail
