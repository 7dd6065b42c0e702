#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"
#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// A flat outer layer of the scene: a board, a table top, a side of a coffin. Seen along a grid axis from one end of
/// the volume, its outer face is a plane, and its matter ends (in air, where nothing lies against it) one thickness
/// further on.
///
/// Depth is counted in mm along the axis from the volume's first or last voxel layer; u and v are the other two
/// axes in rising order, in mm from the first voxel's centre.
struct Slab {
  int axis = 0;
  bool from_end = false;              ///< seen from the axis' high end
  double depth_mm = 0, slope_u = 0, slope_v = 0;   ///< outer face: depth + slope_u * u + slope_v * v
  double thickness_mm = 0;            ///< along the axis
  std::vector<std::uint8_t> footprint;   ///< one value a column of blocks, u fastest

  [[nodiscard]] int u_axis() const { return axis == 0 ? 1 : 0; }
  [[nodiscard]] int v_axis() const { return axis == 2 ? 1 : 2; }
  [[nodiscard]] double face_mm(double u_mm, double v_mm) const { return depth_mm + slope_u * u_mm + slope_v * v_mm; }
};

/// Finds flat layers from all six ends, peeling one after another.
[[nodiscard]] std::vector<Slab> find_slabs(const Grid& grid, const Coarse& coarse, const Shares& shares);

/// Blocks whose centre lies in one of the slabs.
[[nodiscard]] std::vector<std::uint8_t> blocks_of(const std::vector<Slab>& slabs, const Grid& grid,
                                                  const Coarse& coarse);

/// Labels the slabs' voxels, on the fine grid, with `label` where their level is at least `least_level`.
void mark_slabs(const std::vector<Slab>& slabs, const Coarse& coarse, const Volume<std::uint8_t>& levels,
                int least_level, std::uint8_t label, Volume<std::uint8_t>& materials);

}  // namespace leastharm::segment_detail
