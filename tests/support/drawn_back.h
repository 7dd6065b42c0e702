#pragma once

#include "planner/assessor.h"
#include "planner/cylinder.h"

namespace leastharm::test {

/// The shallowest track on a line that keeps every limit, by steps from one that does: plans keep something to spare, bounds do not.
inline TrackAssessment drawn_back(const Assessor& assessor, TrackAssessment a) {
  constexpr double kStep_mm = 0.25;
  while (true) {
    Track shorter = a.track;
    shorter.tip_lps_mm -= kStep_mm * axis_of(shorter);
    TrackAssessment back = assessor.assess_track(shorter);
    if (!back.admissible) return a;
    a = std::move(back);
  }
}

}  // namespace leastharm::test
