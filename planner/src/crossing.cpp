#include "planner/crossing.h"

#include "planner/voxel_walk.h"

namespace leastharm {

std::vector<Crossing> crossings_along(const Body& body, const Vec3& start_lps_mm, const Vec3& direction, double from_mm,
                                      double to_mm) {
  constexpr double kLeast_mm = 1e-9;   // shorter is rounding: an entry found on a voxel's face may lie a hair before it
  std::vector<Crossing> crossings;
  double at = from_mm;
  const auto go_to = [&](Material material, double depth_mm) {
    if (depth_mm - at < kLeast_mm) return;
    if (!crossings.empty() && crossings.back().material == material)
      crossings.back().to_mm = depth_mm;
    else
      crossings.push_back({material, at, depth_mm});
    at = depth_mm;
  };
  walk_voxels(body.grid, start_lps_mm, direction, from_mm, to_mm,
              [&](std::size_t offset, VoxelIndex, double enter, double leave) {
                go_to(Material::air, enter);
                go_to(static_cast<Material>(body.materials[offset]), leave);
              });
  go_to(Material::air, to_mm);
  if (!crossings.empty()) crossings.back().to_mm = to_mm;
  return crossings;
}

double length_in(const std::vector<Crossing>& crossings, Material material) {
  double length = 0;
  for (const Crossing& c : crossings)
    if (c.material == material) length += c.to_mm - c.from_mm;
  return length;
}

std::optional<double> first_object_mm(const Body& body, const Vec3& start_lps_mm, const Vec3& direction, double from_mm,
                                      double to_mm) {
  std::optional<double> found;
  walk_voxels(body.grid, start_lps_mm, direction, from_mm, to_mm,
              [&](std::size_t offset, VoxelIndex, double enter, double) {
                if (is_object(static_cast<Material>(body.materials[offset]))) found = enter;
                return !found;
              });
  return found;
}

}  // namespace leastharm
