#pragma once

#include <vector>

#include "planner/assessor.h"
#include "planner/propose.h"
#include "programme.h"
#include "search_scene.h"

namespace leastharm {

struct WhyNot {
  std::vector<Blocking> blocking;
  bool proven = false;   ///< no track at all can answer, not only none was found
};

/// Why no admissible set of tracks was found: limits are relaxed one at a time, and those whose relaxation opens a way
/// are named, each with what it would take. `tried` are tracks that kept the quick limits but may have failed in full;
/// `admissible` kept all.
[[nodiscard]] WhyNot find_blocking(const SearchScene& scene, const Assessor& assessor,
                                   const std::vector<TrackAssessment>& tried, const std::vector<Candidate>& admissible);

}  // namespace leastharm
