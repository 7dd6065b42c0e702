#pragma once

#include "sheaf_sweep.h"

namespace leastharm {

/// Bounds what tracks of a sheaf displace, for one request.
class SheafBound {
 public:
  explicit SheafBound(const SweepGround& ground);   ///< `ground` outlives this

  /// By side (+1 left, -1 right, 0 no matter), where cores are to lie, and cube of the box. `step_mm` is the lattice's; costs over
  /// `cap_mm` are not told apart. Adds the points looked at to `points`.
  [[nodiscard]] std::vector<std::vector<SheafCost>> bound(const Sheaf& sheaf, const TipBox& box, double step_mm, double cap_mm,
                                                          const std::vector<int>& sides, double& points) const;

 private:
  [[nodiscard]] bool may_hold_tips(const TipBox& box, int side) const;

  const SweepGround& ground_;
  double least_chance_ = 0;   ///< of enough, that an admissible track can really have: the limit less what the chance may be off
};

}  // namespace leastharm
