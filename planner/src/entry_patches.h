#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "search_scene.h"

namespace leastharm {

/// The cosine of an angle that is less by another one, whose cosine and sine are given, but not below 0.
[[nodiscard]] inline double cosine_less(double cosine, double cosine_of_other, double sine_of_other) {
  return cosine >= cosine_of_other ? 1 : cosine * cosine_of_other + std::sqrt(std::max(0.0, 1 - cosine * cosine)) * sine_of_other;
}

/// A quarter of a face through which an axis may enter the object, in the scene's box, with a cone that holds the inward
/// normals at its corners.
struct EntryPatch {
  Eigen::Vector3f middle{0, 0, 0}, half{0, 0, 0};   ///< mm; `half` its extent to either side along the grid's axes
  Eigen::Vector3f inward{0, 0, 1};                  ///< the cone's axis
  float cosine = 1, sine = 0;                       ///< of its half angle
};

/// The whole outer surface of a scene as patches.
class EntryPatches {
 public:
  explicit EntryPatches(const SearchScene& scene);

  /// By how much the smoothed normal at a point of a patch may lie beyond the patch's cone, degrees (measured:
  /// tests/planner/entry_patches_test.cpp).
  static constexpr double kBeyondConeDeg = 1;

  [[nodiscard]] const std::vector<EntryPatch>& all() const { return patches_; }
  /// Calls visit(patch) for all patches that come near a box: `half_mm` are its extents to either side along three axes at right
  /// angles. Some that lie a little beyond are among them.
  template <typename Visit>
  void for_each_near(const Vec3& middle, const std::array<Vec3, 3>& axes, const Vec3& half_mm, const Visit& visit) const {
    Vec3 reach = Vec3::Constant(widest_mm_);
    for (Eigen::Index a = 0; a < 3; ++a) reach += half_mm[a] * axes[static_cast<std::size_t>(a)].cwiseAbs();
    const VoxelIndex low = brick_at(middle - reach), high = brick_at(middle + reach);
    const double brick_radius = kBrick_mm * std::sqrt(3.0) / 2 + widest_mm_;
    for (int k = low.k; k <= high.k; ++k)
      for (int j = low.j; j <= high.j; ++j)
        for (int i = low.i; i <= high.i; ++i) {
          const std::size_t brick = bricks_.offset(i, j, k);
          if (first_[brick] == first_[brick + 1]) continue;
          const Vec3 off = kBrick_mm * Vec3(i + 0.5, j + 0.5, k + 0.5) - Vec3::Constant(kBrick_mm) - middle;
          bool near = true;
          for (Eigen::Index a = 0; a < 3; ++a) near &= std::abs(off.dot(axes[static_cast<std::size_t>(a)])) <= half_mm[a] + brick_radius;
          if (!near) continue;
          for (std::uint32_t n = first_[brick]; n < first_[brick + 1]; ++n) visit(patches_[n]);
        }
  }

 private:
  static constexpr double kBrick_mm = 8;
  [[nodiscard]] VoxelIndex brick_at(const Vec3& p) const;   ///< the nearest
  void sort_into_bricks();

  double widest_mm_ = 0;                 // how far a patch may reach beyond its middle, and so beyond its brick
  std::vector<EntryPatch> patches_;      // brick by brick
  Grid bricks_;                          // one more than fit at either end: faces lie half a voxel beyond the centres
  std::vector<std::uint32_t> first_;     // by brick, of its patches; and the end
};

}  // namespace leastharm
