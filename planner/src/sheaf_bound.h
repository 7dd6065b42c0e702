#pragma once

#include "sheaf_sweep.h"

namespace leastharm {

/// Bounds what tracks of a sheaf displace, for one request with its core on one side.
class SheafBound {
 public:
  /// `ground` outlives this. `side` as in tip_chances.
  SheafBound(const SweepGround& ground, int side);

  /// One for each cube of the box. `step_mm` is the lattice's; costs over `cap_mm` are not told apart. Adds the points
  /// looked at to `points`.
  [[nodiscard]] std::vector<SheafCost> bound(const Sheaf& sheaf, const TipBox& box, double step_mm, double cap_mm, double& points) const;

 private:
  [[nodiscard]] bool may_hold_tips(const TipBox& box) const;

  const SweepGround& ground_;
  int side_;
  double least_chance_ = 0;   ///< of enough, that an admissible track can really have: the limit less what the chance may be off
};

}  // namespace leastharm
