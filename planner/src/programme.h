#pragma once

#include <vector>

#include "planner/assess.h"
#include "search_route.h"

namespace leastharm {

/// A good track that a programme may take.
struct Candidate {
  Route route;
  Track track;               ///< the same, as `assess` takes it
  double score = 0;          ///< of the track alone
  double hole_score = 0;     ///< the part of it that the hole costs
  double p_enough = 0;
  bool through_opening = false;
};

/// Spacing of cores and holes, and no core through the other's steel.
[[nodiscard]] bool can_stand_together(const SearchScene& scene, const Candidate& a, const Candidate& b);
/// Whether two tracks go through one hole.
[[nodiscard]] bool share_a_hole(const SearchScene& scene, const Candidate& a, const Candidate& b);

struct Choice {
  bool feasible = false, proven = false;
  double cost = 0;                     ///< the sum of scores
  std::vector<std::size_t> chosen;     ///< indices, ascending
};

/// The set of candidates that answers all requests with the least sum of scores, a shared hole counted once; those near the
/// tilt limit by a little dearer than they are (`near_limit_price`).
[[nodiscard]] Choice choose(const SearchScene& scene, const std::vector<Candidate>& candidates);
/// The same for other counts and sides; the requests are the scene's own by id.
[[nodiscard]] Choice choose(const SearchScene& scene, const std::vector<Candidate>& candidates,
                            const std::vector<Request>& requests);

}  // namespace leastharm
