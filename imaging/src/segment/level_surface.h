#pragma once

#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// How much a flat surface's shape and surroundings say that a liquid stood there.
enum class Evidence : std::uint8_t {
  slight,   ///< flat, but in no vessel to speak of: it takes HU of its own to believe it
  fair,     ///< some of what is beside it lies lower
  plain,
};

/// A flat piece of tissue's surface inside the body: what was liquid stands level. Positions in mm along the grid's axes from the
/// centre of its first voxel.
struct LevelSurface {
  Vec3 point{0, 0, 0}, normal{0, 0, 1};   ///< unit normal, towards air
  std::vector<Vec3> places;               ///< one a block
  Evidence evidence = Evidence::plain;
};

/// How a body lies, as far as liquids in it ask.
struct Lying {
  double least_mm = 0;         ///< the least half width of a level surface
  Vec3 length{0, 0, 0};        ///< unit vector along the body, in the grid's axes
};

/// The direction in which tissue spreads most, if it does so much more than in any other; else the scanner's own axis.
[[nodiscard]] Vec3 length_of(const Coarse& coarse, const Shares& shares);

/// The flat pieces of surface between tissue and the air or packing inside, largest first; only those that are flat over at least
/// `least_mm` both ways, that face across the body's length, and beyond whose edge the surface rises, as that of a liquid in a
/// vessel does.
[[nodiscard]] std::vector<LevelSurface> level_surfaces(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes,
                                                       const Coarse& coarse, const Lying& lying, int threads);

}  // namespace leastharm::segment_detail
