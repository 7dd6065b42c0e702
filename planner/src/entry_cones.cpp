#include "entry_cones.h"

#include <algorithm>
#include <cmath>

namespace leastharm {

EntryCones::EntryCones(const SearchScene& scene, double reach_mm, bool one_by_one)
    : scene_(scene), voxels_(scene.box_grid()), cone_of_(voxels_.grid.voxel_count(), -1) {
  const Grid& grid = voxels_.grid;
  const Box& box = scene.box();
  for (std::size_t a = 0; a < 3; ++a) reach_[a] = static_cast<int>(std::ceil(reach_mm / grid.spacing_mm[static_cast<Eigen::Index>(a)]));
  const auto for_each_near = [&](const EntryVoxel& e, const auto& visit) {
    const VoxelIndex v{e.voxel.i - box.low.i, e.voxel.j - box.low.j, e.voxel.k - box.low.k};
    for (int k = std::max(0, v.k - reach_[2]); k <= std::min(grid.size[2] - 1, v.k + reach_[2]); ++k)
      for (int j = std::max(0, v.j - reach_[1]); j <= std::min(grid.size[1] - 1, v.j + reach_[1]); ++j)
        for (int i = std::max(0, v.i - reach_[0]); i <= std::min(grid.size[0] - 1, v.i + reach_[0]); ++i) visit(grid.offset(i, j, k));
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
      cone.cosine = std::min(cone.cosine, cone.axis.dot(e.outward));
    });
  for (Cone& cone : cones_) cone.sine = std::sqrt(std::max(0.0, 1 - cone.cosine * cone.cosine));
  if (!one_by_one) return;
  entry_at_.assign(cone_of_.size(), -1);
  for (std::size_t n = 0; n < scene.entries().size(); ++n) {
    const VoxelIndex v = scene.entries()[n].voxel;
    entry_at_[grid.offset(v.i - box.low.i, v.j - box.low.j, v.k - box.low.k)] = static_cast<std::int32_t>(n);
  }
}

/// Between a direction and the inward normals near a voxel, the largest.
double EntryCones::best_of_entries(VoxelIndex v, const Vec3& direction) const {
  const Grid& grid = voxels_.grid;
  double best = -1;
  for (int k = std::max(0, v.k - reach_[2]); k <= std::min(grid.size[2] - 1, v.k + reach_[2]); ++k)
    for (int j = std::max(0, v.j - reach_[1]); j <= std::min(grid.size[1] - 1, v.j + reach_[1]); ++j)
      for (int i = std::max(0, v.i - reach_[0]); i <= std::min(grid.size[0] - 1, v.i + reach_[0]); ++i)
        if (const std::int32_t n = entry_at_[grid.offset(i, j, k)]; n >= 0)
          best = std::max(best, -direction.dot(scene_.entries()[static_cast<std::size_t>(n)].outward));
  return best;
}

double EntryCones::best_cosine(const Vec3& p, const Vec3& direction) const {
  constexpr double kNothing = -2;
  const VoxelIndex v = voxels_.voxel(p);
  if (!voxels_.grid.contains(v)) return kNothing;
  const std::int32_t n = cone_of_[voxels_.grid.offset(v)];
  if (n < 0) return kNothing;
  const Cone& cone = cones_[static_cast<std::size_t>(n)];
  const double best = cosine_less(-direction.dot(cone.axis), cone.cosine, cone.sine);
  return entry_at_.empty() || best <= 0 ? best : best_of_entries(v, direction);
}

}  // namespace leastharm
