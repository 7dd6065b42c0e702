#pragma once

#include "planner/body.h"
#include "planner/cylinder.h"

namespace leastharm {

/// Volume of each material inside a cylinder, mm3. Air in front of `air_from_mm` (along the axis) is left out, and so is
/// what lies outside the grid. The disc is covered by `nodes` lines of equal area along the axis, each cut exactly at
/// the voxels' faces: within 0.2 % of the voxel map's own volumes at `fine_node_count`.
[[nodiscard]] PerMaterial<double> volumes_in(const Body& body, const Cylinder& cylinder, int nodes,
                                             double air_from_mm = -1e9);

}  // namespace leastharm
