#include "planner/swept.h"

#include <numbers>

#include "planner/voxel_walk.h"

namespace leastharm {

PerMaterial<double> volumes_in(const Body& body, const Cylinder& cylinder, int nodes, double air_from_mm) {
  PerMaterial<double> lengths{};
  const auto [e1, e2] = across(cylinder.axis);
  for (const DiscNode& node : disc_nodes(cylinder.radius_mm, nodes)) {
    const Vec3 start = cylinder.start + node.x_mm * e1 + node.y_mm * e2;
    walk_voxels(body.grid, start, cylinder.axis, 0, cylinder.length_mm,
                [&](std::size_t offset, VoxelIndex, double enter, double leave) {
                  const std::size_t m = body.materials[offset];
                  if (m == 0) enter = std::max(enter, std::min(air_from_mm, leave));
                  lengths[m] += leave - enter;
                });
  }
  const double area = std::numbers::pi * cylinder.radius_mm * cylinder.radius_mm / nodes;
  for (double& length : lengths) length *= area;
  return lengths;
}

}  // namespace leastharm
