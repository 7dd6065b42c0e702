#pragma once

#include <limits>

#include "entry_cones.h"
#include "tip_chances.h"

namespace leastharm {

/// Lower bounds on what tracks of a sheaf displace on their way to a cube's tips: weight x length, mm. Infinite where none
/// has a sufficient chance of enough.
struct SheafCost {
  double plain_mm = std::numeric_limits<double>::infinity();     ///< of those that enter through no opening
  double opening_mm = std::numeric_limits<double>::infinity();   ///< of those that may
};

/// Sweeps the scene along sheaves. How it works, and why it bounds: DEVELOPERS.md, "The certificate".
class SheafBound {
 public:
  /// `scene` outlives this. `side` as in tip_chances.
  SheafBound(const SearchScene& scene, std::size_t ask, int side);

  /// One for each cube of the box. `step_mm` is the lattice's; costs over `cap_mm` are not told apart. Adds the points
  /// looked at to `points`.
  [[nodiscard]] std::vector<SheafCost> bound(const Sheaf& sheaf, const TipBox& box, double step_mm, double cap_mm, double& points) const;
  /// The least chance of enough that an admissible track can really have: the limit less what the chance may be off.
  [[nodiscard]] double least_chance() const { return least_chance_; }

 private:
  void make_blocks();
  void make_openings();
  void make_least_weights();
  [[nodiscard]] bool may_hold_tips(const TipBox& box) const;

  const SearchScene& scene_;
  const Ask& ask_;
  int side_;
  EntryCones far_cones_, near_cones_;          ///< for coarse lattices and for fine ones
  double least_chance_ = 0, weight_of_wanted_ = 0;
  Grid blocks_;                                ///< coarse blocks ...
  std::vector<std::uint8_t> solid_;            ///< ... 1 where anything of weight is within reach of a point in the block
  std::vector<std::uint8_t> wanted_;           ///< ... 1 where a core that ends in the block may hold what is wanted
  std::vector<std::uint8_t> opening_;          ///< by voxel of the box: within a voxel of an opening; empty without openings
  Vec3 opening_low_{0, 0, 0}, opening_high_{0, 0, 0};   ///< the box around those, mm
  std::vector<float> least_weight_;            ///< by voxel of the box: the least weight in the ball at the needle's end

  friend class SheafSweep;
};

}  // namespace leastharm
