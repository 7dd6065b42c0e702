#pragma once

#include <vector>

#include "planner/core_yield.h"

namespace leastharm {

/// Chance that a core holds enough when where it lies, and so what the bore closes round, is given: over recovery, bore,
/// composition, HU offset and the noise of a full core, as draw_masses has them. Errors of the map, which only take away where
/// the chance is high, are left out, so this is never less than the truth there.
class EnoughChance {
 public:
  EnoughChance() = default;   ///< of a need that every core meets
  /// `need_mg` of one core.
  EnoughChance(const Body& body, const Region& region, const Needle& needle, double need_mg);
  /// Of a core with this mass at the middle of the recovery range, mg.
  [[nodiscard]] float of(float nominal_mg) const {
    const float place = nominal_mg * per_step_;
    if (!(place > 0)) return table_.front();
    if (place >= static_cast<float>(table_.size() - 1)) return table_.back();
    const auto n = static_cast<std::size_t>(place);
    return table_[n] + (place - static_cast<float>(n)) * (table_[n + 1] - table_[n]);
  }

 private:
  std::vector<float> table_{1.0f};
  float per_step_ = 1;
};

}  // namespace leastharm
