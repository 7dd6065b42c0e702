#pragma once

#include <cstdint>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"
#include "imaging/material.h"

namespace leastharm {

/// A set of voxels of a grid, stored as the box that holds them.
struct Mask {
  Grid grid;                            ///< of the whole volume
  VoxelIndex corner{};                  ///< lowest voxel of the box
  std::array<int, 3> box{0, 0, 0};      ///< the box's size; zero when the mask is empty
  std::vector<std::uint8_t> inside{};   ///< one value a voxel of the box, i fastest; 1 = inside

  [[nodiscard]] bool contains(VoxelIndex v) const {
    const int i = v.i - corner.i, j = v.j - corner.j, k = v.k - corner.k;
    if (i < 0 || j < 0 || k < 0 || i >= box[0] || j >= box[1] || k >= box[2]) return false;
    return inside[static_cast<std::size_t>(i) +
                  static_cast<std::size_t>(box[0]) *
                      (static_cast<std::size_t>(j) +
                       static_cast<std::size_t>(box[1]) * static_cast<std::size_t>(k))] != 0;
  }
  [[nodiscard]] bool empty() const { return inside.empty(); }
  [[nodiscard]] std::size_t voxel_count() const;
  [[nodiscard]] double volume_mm3() const {
    return static_cast<double>(voxel_count()) * grid.voxel_volume_mm3();
  }
};

/// Voxels whose value is not zero, cropped to their box. Throws BadInput where `labels` lies on another grid.
[[nodiscard]] Mask mask_from_labels(const Volume<std::uint8_t>& labels, const Grid& grid);
/// The mask as a whole 0/1 volume (files, exports).
[[nodiscard]] Volume<std::uint8_t> labels_from_mask(const Mask& mask);
/// The mask's box alone, with its own origin: small, and a standard volume (the case folder).
[[nodiscard]] Volume<std::uint8_t> box_from_mask(const Mask& mask);
/// The inverse of `box_from_mask`. Throws BadInput where the box does not fall on the grid.
[[nodiscard]] Mask mask_from_box(const Volume<std::uint8_t>& box, const Grid& grid);

/// Voxels whose centre lies within `radius_mm` of `centre`. Throws BadInput where none does.
[[nodiscard]] Mask ball_mask(const Grid& grid, const Vec3& centre_lps_mm, double radius_mm);
/// Voxels of the seed's material that are 26-connected with it. Throws BadInput where the seed lies outside the grid
/// or in air, or the region exceeds `limit_mm3`.
[[nodiscard]] Mask connected_mask(const Volume<std::uint8_t>& materials, const Vec3& seed_lps_mm,
                                  double limit_mm3 = 1e6);
/// All voxels of one material. Throws BadInput where there are none.
[[nodiscard]] Mask material_mask(const Volume<std::uint8_t>& materials, Material material);
/// Every 26-connected piece of a material above `least_mm3`, largest first (ties by first voxel).
[[nodiscard]] std::vector<Mask> material_pieces(const Volume<std::uint8_t>& materials, Material material,
                                                double least_mm3);

/// A closed outline on one plane; LPS, mm.
using Outline = std::vector<Vec3>;
/// The region between outlines drawn on sparse parallel slices, filled in between by shape.
/// Throws BadInput where an outline has fewer than three points, is not flat, or the planes are not parallel.
[[nodiscard]] Mask contours_mask(const Grid& grid, const std::vector<Outline>& outlines);
/// What to tell the person who drew them: slices more than 15 mm apart, an outline that crosses itself.
[[nodiscard]] std::vector<Finding> outline_findings(const std::vector<Outline>& outlines);

}  // namespace leastharm
