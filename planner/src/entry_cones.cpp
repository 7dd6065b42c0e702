#include "entry_cones.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace leastharm {

EntryCones::EntryCones(const SearchScene& scene, double reach_mm, bool one_by_one)
    : scene_(scene), voxels_(scene.box_grid()), cone_of_(voxels_.grid.voxel_count(), -1) {
  const Grid& grid = voxels_.grid;
  const Box& box = scene.box();
  std::array<int, 3>& reach = reach_;
  for (std::size_t a = 0; a < 3; ++a) reach[a] = static_cast<int>(std::ceil(reach_mm / grid.spacing_mm[static_cast<Eigen::Index>(a)]));
  const auto for_each_near = [&](const EntryVoxel& e, const auto& visit) {
    const VoxelIndex v{e.voxel.i - box.low.i, e.voxel.j - box.low.j, e.voxel.k - box.low.k};
    for (int k = std::max(0, v.k - reach[2]); k <= std::min(grid.size[2] - 1, v.k + reach[2]); ++k)
      for (int j = std::max(0, v.j - reach[1]); j <= std::min(grid.size[1] - 1, v.j + reach[1]); ++j)
        for (int i = std::max(0, v.i - reach[0]); i <= std::min(grid.size[0] - 1, v.i + reach[0]); ++i) visit(grid.offset(i, j, k));
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
  if (!one_by_one) return;
  entry_at_.assign(cone_of_.size(), -1);
  for (std::size_t n = 0; n < scene.entries().size(); ++n) {
    const VoxelIndex v = scene.entries()[n].voxel;
    entry_at_[grid.offset(v.i - box.low.i, v.j - box.low.j, v.k - box.low.k)] = static_cast<std::int32_t>(n);
  }
}

/// Between a direction and the inward normals near a voxel, the largest.
double EntryCones::best_cosine(VoxelIndex v, const Vec3& direction) const {
  const Grid& grid = voxels_.grid;
  double best = -1;
  for (int k = std::max(0, v.k - reach_[2]); k <= std::min(grid.size[2] - 1, v.k + reach_[2]); ++k)
    for (int j = std::max(0, v.j - reach_[1]); j <= std::min(grid.size[1] - 1, v.j + reach_[1]); ++j)
      for (int i = std::max(0, v.i - reach_[0]); i <= std::min(grid.size[0] - 1, v.i + reach_[0]); ++i)
        if (const std::int32_t n = entry_at_[grid.offset(i, j, k)]; n >= 0)
          best = std::max(best, -direction.dot(scene_.entries()[static_cast<std::size_t>(n)].outward));
  return best;
}

double EntryCones::least_angle(const Vec3& p, const Vec3& direction, double half_angle) const {
  constexpr double kNothing = 4;
  const VoxelIndex v = voxels_.voxel(p);
  if (!voxels_.grid.contains(v)) return kNothing;
  const std::int32_t n = cone_of_[voxels_.grid.offset(v)];
  if (n < 0) return kNothing;
  const Cone& cone = cones_[static_cast<std::size_t>(n)];
  const double angle = std::acos(std::clamp(-direction.dot(cone.axis), -1.0, 1.0));
  if (entry_at_.empty() || angle - half_angle > cone.half_angle + std::numbers::pi / 2) return std::max(0.0, angle - half_angle - cone.half_angle);
  return std::max(0.0, std::acos(std::clamp(best_cosine(v, direction), -1.0, 1.0)) - half_angle);
}

}  // namespace leastharm
