#pragma once

#include <cstdint>
#include <vector>

#include "refined_field.h"

namespace leastharm {

/// What is known of a refined field near a point: every gradient there lies within `radius` of the segment from 0 to
/// (x, y, z). A smooth layer's gradients all point one way, so across its normal next to nothing is left.
struct GradientHull {
  float x = 0, y = 0, z = 0;
  float radius = 0;
  float low = 0;                       ///< least value of the field
  float floor = 0;                     ///< least weight of any voxel that the field averages there
  std::array<float, 3> link{0, 0, 0};  ///< greatest link error (RefinedField), by the line's leading axis
};

/// Hulls over neighbourhoods of growing size. All fields share one box: voxel (0, 0, 0) at the origin, mm.
class GradientHulls {
 public:
  GradientHulls() = default;
  /// `voxels` is what `field` was made from, `refinement` its link error.
  GradientHulls(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement);

  /// The coarsest level's radius; beyond it no hull holds.
  [[nodiscard]] double most_radius_mm() const { return levels_.back().radius_mm; }
  /// The finest level that holds for all points within `radius_mm` of the one looked up.
  [[nodiscard]] int level_for(double radius_mm) const {
    int level = 0;
    while (level + 1 < static_cast<int>(levels_.size()) && levels_[static_cast<std::size_t>(level)].radius_mm < radius_mm) ++level;
    return level;
  }
  [[nodiscard]] const GradientHull& at(int level, const Vec3& p) const {
    const Level& l = levels_[static_cast<std::size_t>(level)];
    const int i = static_cast<int>(static_cast<float>(p.x()) * l.inverse[0] + 0.5f), j = static_cast<int>(static_cast<float>(p.y()) * l.inverse[1] + 0.5f),
              k = static_cast<int>(static_cast<float>(p.z()) * l.inverse[2] + 0.5f);
    if (i < 0 || j < 0 || k < 0 || i >= l.size[0] || j >= l.size[1] || k >= l.size[2]) return l.hulls[0];
    return l.hulls[l.index[static_cast<std::size_t>(i + l.stride_j * j + l.stride_k * k)]];
  }

 private:
  struct Level {
    Vec3 spacing_mm{1, 1, 1};
    double radius_mm = 0;
    std::array<int, 3> size{0, 0, 0};
    std::array<float, 3> inverse{1, 1, 1};
    std::ptrdiff_t stride_j = 0, stride_k = 0;
    std::vector<std::uint32_t> index;   // 0: the field is even there
    std::vector<GradientHull> hulls;

    void set_geometry(const Vec3& spacing, const std::array<int, 3>& blocks);
  };
  void make_finest(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement);
  void make_next(int stride);
  std::vector<Level> levels_;
};

/// The link error per mm of line (refined_field.h), for each leading axis, one value a voxel.
[[nodiscard]] std::array<std::vector<float>, 3> link_errors(const Volume<float>& voxels, const Refinement& refinement);

}  // namespace leastharm
