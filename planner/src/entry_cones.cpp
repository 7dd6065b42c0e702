#include "entry_cones.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace leastharm {

EntryCones::EntryCones(const SearchScene& scene, double reach_mm)
    : grid_(scene.box_grid()), inverse_spacing_(grid_.spacing_mm.cwiseInverse()), cone_of_(grid_.voxel_count(), -1) {
  const Box& box = scene.box();
  std::array<int, 3> reach;
  for (std::size_t a = 0; a < 3; ++a) reach[a] = static_cast<int>(std::ceil(reach_mm * inverse_spacing_[static_cast<Eigen::Index>(a)]));
  const auto for_each_near = [&](const EntryVoxel& e, const auto& visit) {
    const VoxelIndex v{e.voxel.i - box.low.i, e.voxel.j - box.low.j, e.voxel.k - box.low.k};
    for (int k = std::max(0, v.k - reach[2]); k <= std::min(grid_.size[2] - 1, v.k + reach[2]); ++k)
      for (int j = std::max(0, v.j - reach[1]); j <= std::min(grid_.size[1] - 1, v.j + reach[1]); ++j)
        for (int i = std::max(0, v.i - reach[0]); i <= std::min(grid_.size[0] - 1, v.i + reach[0]); ++i) visit(grid_.offset(i, j, k));
  };
  for (const EntryVoxel& e : scene.entries())
    for_each_near(e, [&](std::size_t n) {
      if (cone_of_[n] < 0) {
        cone_of_[n] = static_cast<std::int32_t>(cones_.size());
        cones_.emplace_back();
      }
      cones_[static_cast<std::size_t>(cone_of_[n])].axis += e.outward;
    });
  for (Cone& cone : cones_) {
    const double length = cone.axis.norm();
    if (length < 1e-6) cone = {Vec3::UnitX(), -1, 0};
    else cone.axis /= length;
  }
  for (const EntryVoxel& e : scene.entries())
    for_each_near(e, [&](std::size_t n) {
      Cone& cone = cones_[static_cast<std::size_t>(cone_of_[n])];
      cone.least_cosine = std::min(cone.least_cosine, cone.axis.dot(e.outward));
    });
  for (Cone& cone : cones_) cone.half_angle = std::acos(std::clamp(cone.least_cosine, -1.0, 1.0));
}

bool EntryCones::may_enter(const Vec3& p, const Vec3& direction, double half_angle, double limit) const {
  const Vec3 c = p.cwiseProduct(inverse_spacing_) + Vec3::Constant(0.5);
  const VoxelIndex v{static_cast<int>(std::floor(c.x())), static_cast<int>(std::floor(c.y())), static_cast<int>(std::floor(c.z()))};
  if (!grid_.contains(v)) return false;
  const std::int32_t n = cone_of_[grid_.offset(v)];
  if (n < 0) return false;
  const Cone& cone = cones_[static_cast<std::size_t>(n)];
  const double wide = limit + half_angle + cone.half_angle;
  return wide >= std::numbers::pi || -direction.dot(cone.axis) >= std::cos(wide);
}

}  // namespace leastharm
