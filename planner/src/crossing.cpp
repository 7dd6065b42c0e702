#include "planner/crossing.h"

#include "planner/voxel_walk.h"

namespace leastharm {

namespace {
void append(std::vector<Crossing>& crossings, Material material, double from_mm, double to_mm) {
  if (!(to_mm > from_mm)) return;
  if (!crossings.empty() && crossings.back().material == material)
    crossings.back().to_mm = to_mm;
  else
    crossings.push_back({material, from_mm, to_mm});
}
}  // namespace

std::vector<Crossing> crossings_along(const Body& body, const Vec3& start_lps_mm, const Vec3& direction, double from_mm,
                                      double to_mm) {
  std::vector<Crossing> crossings;
  double at = from_mm;
  walk_voxels(body.grid, start_lps_mm, direction, from_mm, to_mm,
              [&](std::size_t offset, VoxelIndex, double enter, double leave) {
                append(crossings, Material::air, at, enter);
                append(crossings, static_cast<Material>(body.materials[offset]), enter, leave);
                at = leave;
              });
  append(crossings, Material::air, at, to_mm);
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
