#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"
#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// A flat or drawn-out outer layer of the scene: a board, a table top, a side of a coffin. Seen along a grid axis from one
/// end of the volume it lies between two surfaces. Depths are in mm from the centre of the first voxel layer at that end,
/// as a profile over fine voxels along u that rises evenly along v (u, v: the other two axes in rising order).
struct Slab {
  int axis = 0;
  bool from_end = false;
  std::vector<double> face_mm, back_mm;   ///< infinite where a column has no part in the slab
  double face_slope = 0, back_slope = 0;  ///< mm of depth a mm along v
  std::vector<std::uint8_t> footprint;    ///< one value a column of blocks, u fastest

  [[nodiscard]] int u_axis() const { return axis == 0 ? 1 : 0; }
  [[nodiscard]] int v_axis() const { return axis == 2 ? 1 : 2; }
};

/// Finds outer layers from all six ends, peeling one after another. A layer's outer face must make up a good part of
/// what is seen from its end, and be seen to end in air, one thickness further on, where nothing lies against it. Begins behind the `known` ones and returns all.
[[nodiscard]] std::vector<Slab> find_slabs(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                                           std::vector<Slab> known, int threads);

/// Blocks that lie mostly in one of the slabs.
[[nodiscard]] std::vector<std::uint8_t> blocks_of(const std::vector<Slab>& slabs, const Grid& grid,
                                                  const Coarse& coarse);

/// Labels the slabs' voxels on the fine grid: all inside, and at the rims those nearer to the slab's own level than to air.
void mark_slabs(const std::vector<Slab>& slabs, const Coarse& coarse, const Volume<std::uint8_t>& levels,
                std::uint8_t label, Volume<std::uint8_t>& materials);

}  // namespace leastharm::segment_detail
