#pragma once

#include <cstdint>
#include <memory>

#include "entry_tree.h"
#include "field_maxima.h"
#include "gradient_hulls.h"

namespace leastharm {

/// A set of straight tracks: all that enter through a box of the surface with directions within a patch.
struct Cell {
  std::uint32_t node = 0;                  ///< of the entry tree; its single face where it has no children
  Eigen::Vector3f middle{0, 0, 0}, half{0, 0, 0};   ///< the box, in the scene's box, mm
  float turn = 0, turn_half = 0;           ///< direction: azimuth in the i-j plane, rad
  float tilt = 0, tilt_half = 0;           ///< ... and elevation out of it, rad
  float bound = 0;                         ///< no track of the cell scores less
  float by_place = 0, by_direction = 0;    ///< what of the bound's slack comes from the box and from the patch
  float tip_mm = 0;                        ///< no track of the cell ends before this depth (from the box's middle)

  [[nodiscard]] Vec3 direction() const {
    const double a = static_cast<double>(turn), b = static_cast<double>(tilt);
    return {std::cos(b) * std::cos(a), std::cos(b) * std::sin(a), std::sin(b)};
  }
};

/// Lower bounds on the score of every admissible track of a cell, for one request. The proof is in DEVELOPERS.md.
class CellBounds {
 public:
  /// `scene` and `tree` outlive this.
  CellBounds(const SearchScene& scene, const EntryTree& tree);

  /// Sets the bound of a cell, given that no track of it ends before its `tip_mm`; false where it holds no admissible
  /// track with enough yield. `side`: +1, -1 or 0 for any.
  [[nodiscard]] bool bound(Cell& cell, std::size_t ask, int side) const;

  /// Least depth of a tip, at least the cell's own, with which shaft and hand find room behind the entry for some track
  /// of the cell; infinite where there is none.
  [[nodiscard]] double least_free_tip_mm(const Cell& cell, std::size_t ask) const;

 private:
  struct Fields {
    std::shared_ptr<const GradientHulls> hulls;
    std::shared_ptr<const FieldMaxima> yield;   ///< g/cm3 of what is requested, averaged over the bore
  };
  void make_fields();
  void make_depths();

  const SearchScene& scene_;
  const EntryTree& tree_;
  std::vector<Fields> fields_;
  Volume<float> free_mm_;   ///< distance to the nearest solid voxel's centre, minus that to the nearest air voxel's
  LineField left_;          ///< distance left of the midline
};

/// The exact score is cubature over the voxel map to within 0.2 %; the rest is for sums that are not quite even.
inline constexpr double kScoreSlack = 0.003;

}  // namespace leastharm
