#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <cstdint>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "planner/assess.h"
#include "planner/body.h"

namespace leastharm::test {

using ShapeOf = std::function<Material(const Vec3&)>;   ///< material at a point of the shape's own frame, mm

/// Where a shape's own frame lies in LPS.
struct Pose {
  Mat3 turn = Mat3::Identity();
  Vec3 at{0, 0, 0};
  [[nodiscard]] Vec3 operator()(const Vec3& own) const { return turn * own + at; }
  [[nodiscard]] Vec3 back(const Vec3& lps) const { return turn.transpose() * (lps - at); }
};

/// A grid of a given spacing and direction that holds a cube of half width `half_mm` about `middle`.
inline Grid grid_about(const Vec3& middle, double half_mm, const Vec3& spacing_mm, const Mat3& direction) {
  Grid grid;
  grid.spacing_mm = spacing_mm;
  grid.direction = direction;
  Vec3 last;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    grid.size[a] = static_cast<int>(std::ceil(2 * half_mm / spacing_mm[e]));
    last[e] = grid.size[a] - 1;
  }
  grid.origin_lps_mm = middle - direction * spacing_mm.cwiseProduct(last) / 2;
  return grid;
}

inline Mat3 oblique() {
  return (Eigen::AngleAxisd(0.4, Vec3(1, 2, 3).normalized()) * Eigen::AngleAxisd(-0.25, Vec3::UnitY())).toRotationMatrix();
}

/// Voxelised shapes with one HU a material, sure of themselves.
struct ShapeWorld {
  Grid grid;
  std::vector<std::int16_t> hu;
  std::vector<std::uint8_t> materials, confidence;
  std::vector<Mark> marks;
  std::optional<BodyFrame> frame;
  ScanQuality scan;

  [[nodiscard]] Body body() const { return {grid, hu, materials, confidence, marks, frame, scan}; }
};

inline constexpr PerMaterial<std::int16_t> kUsualHu{-1000, -700, 80, -765, 900, 20, 2600, -500};

inline void for_each_centre(const Grid& grid, const auto& visit) {
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) visit(VoxelIndex{i, j, k}, grid.lps_from_index(Vec3(i, j, k)));
}

inline ShapeWorld make_world(const Grid& grid, const Pose& pose, const ShapeOf& shape,
                             const PerMaterial<std::int16_t>& hu = kUsualHu) {
  ShapeWorld world;
  world.grid = grid;
  world.hu.resize(grid.voxel_count());
  world.materials.resize(grid.voxel_count());
  world.confidence.assign(grid.voxel_count(), 255);
  for_each_centre(grid, [&](VoxelIndex v, const Vec3& lps) {
    const auto m = static_cast<std::size_t>(shape(pose.back(lps)));
    world.materials[grid.offset(v)] = static_cast<std::uint8_t>(m);
    world.hu[grid.offset(v)] = hu[m];
  });
  return world;
}

/// Voxels whose centre satisfies `inside`, in the shape's own frame.
inline Mask mask_where(const Grid& grid, const Pose& pose, const std::function<bool(const Vec3&)>& inside) {
  VoxelIndex low{grid.size[0], grid.size[1], grid.size[2]}, high{-1, -1, -1};
  std::vector<VoxelIndex> voxels;
  for_each_centre(grid, [&](VoxelIndex v, const Vec3& lps) {
    if (!inside(pose.back(lps))) return;
    voxels.push_back(v);
    low = {std::min(low.i, v.i), std::min(low.j, v.j), std::min(low.k, v.k)};
    high = {std::max(high.i, v.i), std::max(high.j, v.j), std::max(high.k, v.k)};
  });
  Mask mask;
  mask.grid = grid;
  if (voxels.empty()) return mask;
  mask.corner = low;
  mask.box = {high.i - low.i + 1, high.j - low.j + 1, high.k - low.k + 1};
  mask.inside.assign(static_cast<std::size_t>(mask.box[0]) * static_cast<std::size_t>(mask.box[1]) *
                         static_cast<std::size_t>(mask.box[2]), 0);
  for (const VoxelIndex& v : voxels)
    mask.inside[static_cast<std::size_t>(((v.k - low.k) * mask.box[1] + v.j - low.j) * mask.box[0] + v.i - low.i)] = 1;
  return mask;
}

inline Mark mark_where(const ShapeWorld& world, const Pose& pose, MarkKind kind, std::string name,
                       const std::function<bool(const Vec3&)>& inside) {
  Mark mark;
  mark.name = std::move(name);
  mark.kind = kind;
  mark.mask = mask_where(world.grid, pose, inside);
  return mark;
}

/// 3 mm outside, 2.4 mm bore, 20 mm throw; nothing uncertain about it: exactly 0.7 of the bore comes out.
inline Needle sure_needle() {
  Needle needle;
  needle.outer_mm = 3.0;
  needle.bore_mm = 2.4;
  needle.throw_mm = 20;
  needle.usable_mm = 150;
  needle.recovery_p05 = needle.recovery_p95 = 0.7;
  needle.bore_tolerance_mm = 0;
  return needle;
}

inline Track track_between(const Vec3& entry, const Vec3& tip, std::string request = "",
                           const Needle& needle = sure_needle(), std::string id = "T1") {
  return {std::move(id), entry, tip, needle, std::move(request)};
}

}  // namespace leastharm::test
