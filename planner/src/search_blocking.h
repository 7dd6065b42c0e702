#pragma once

#include <vector>

#include "planner/assessor.h"
#include "planner/propose.h"
#include "search_scene.h"

namespace leastharm {

/// Why no admissible set of tracks was found: limits are relaxed one at a time, and those whose relaxation opens a way
/// are named, each with what it would take. `tried` are tracks that kept the quick limits but failed in full;
/// `admissible` is how many kept all.
[[nodiscard]] std::vector<Blocking> find_blocking(const SearchScene& scene, const Assessor& assessor,
                                                  const std::vector<TrackAssessment>& tried,
                                                  std::size_t admissible);

}  // namespace leastharm
