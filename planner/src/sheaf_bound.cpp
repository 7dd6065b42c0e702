#include "sheaf_bound.h"

#include <algorithm>

#include "planner/sides.h"

namespace leastharm {

SheafBound::SheafBound(const SweepGround& ground) : ground_(ground) {
  // The chance that `assess` prints is counted over draws, with a standard error of 0.002; the shift of the core leaves out
  // its turn, and errs to the safe side by more (tests/planner/certificate_test.cpp holds both together).
  constexpr double kCounting = 0.004;
  const bool pooled = ground.ask().least_need_mg <= 0;   // others of a pool may make up for it
  least_chance_ = pooled ? 0 : ground.scene().file().limits.p_enough_min - kCounting;
}

/// Whether a tip in the box can end a core that holds anything wanted on the side asked for.
bool SheafBound::may_hold_tips(const TipBox& box, int side) const {
  const double off = kSideMargin_mm + ground_.ask().needle->bore_mm / 2 - kMidlineBend_mm;
  return (side == 0 || off_midline(ground_.scene(), box, side).most > off) && ground_.may_hold_wanted(box);
}

std::vector<std::vector<SheafCost>> SheafBound::bound(const Sheaf& sheaf, const TipBox& box, double step_mm, double cap_mm,
                                                      const std::vector<int>& sides, double& points) const {
  const std::vector<std::vector<SheafCost>> none(sides.size(), std::vector<SheafCost>(box.cube_count()));
  if (std::ranges::none_of(sides, [&](int side) { return may_hold_tips(box, side); })) return none;
  // A coarse lattice is off by more (measured).
  constexpr double kFinest_mm = 0.8, kLostPer_mm = 0.045;
  const double chance_step_mm = std::clamp(1.7 * step_mm, kFinest_mm, 4.0);
  const double least = least_chance_ - kLostPer_mm * (chance_step_mm - kFinest_mm);
  if (least <= 0) return {sides.size(), std::vector<SheafCost>(box.cube_count(), {0, 0})};   // any tip may do
  const TipChances tips = tip_chances(ground_.scene(), ground_.ask(), sheaf, box, chance_step_mm, least);
  points += static_cast<double>(tips.chance.size());
  if (!tips.any) return none;
  const SweepTask task{sheaf, box, tips, least, step_mm, cap_mm, sides};
  SheafSweep sweep(ground_, task);
  std::vector<std::vector<SheafCost>> costs = sweep.run();
  points += sweep.points();
  return costs;
}

}  // namespace leastharm
