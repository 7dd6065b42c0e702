#pragma once

#include <nlohmann/json.hpp>

#include "planner/case.h"

namespace leastharm {

/// How a needle that went in lies against the planned track. LPS, mm.
struct OffPlan {
  double entry_mm = 0;       ///< between the two entries
  double tip_mm = 0;         ///< between the two tips
  double tip_across_mm = 0;  ///< its part across the planned track ...
  double tip_along_mm = 0;   ///< ... and along it; positive = deeper than planned
  double angle_deg = 0;      ///< between the two axes
};
[[nodiscard]] OffPlan off_plan(const Track& planned, const Track& actual);
[[nodiscard]] nlohmann::json to_json(const OffPlan& off);

/// The track with its given entry moved back along its axis, so that the first surface is found
/// from outside.
[[nodiscard]] Track begun_before(Track track, double by_mm);

/// A needle that went in, assessed where it really lay. `actual` is in the planning CT; its entry
/// is moved onto the first surface. Throws BadInput where it misses the object.
[[nodiscard]] TrackAssessment assess_actual(const OpenedCase& volumes, const RequestFile& request,
                                            Track actual);

}  // namespace leastharm
