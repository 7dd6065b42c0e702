#pragma once

#include <optional>
#include <vector>

#include "planner/assessor.h"
#include "programme.h"
#include "search_dense.h"

namespace leastharm {

/// A route that was refined and assessed.
struct Assessed {
  Candidate candidate;
  TrackAssessment assessment;
};

/// The sides that a request asks for: +1 left, -1 right, 0 no matter.
[[nodiscard]] std::vector<int> sides_of(Sides sides);

/// How candidates are looked for.
struct CandidateSearch {
  RouteLimits limits;          ///< the side is set by the request
  DenseSpacing spacing;
  std::size_t most = 48;       ///< routes of each side that are refined and assessed
  double apart_mm = 8;         ///< tips of routes of one direction
  bool shallowest = false;     ///< whether tips are drawn back as far as the limits allow
};

/// Good routes of a request: of each side asked for the best of every needle, those that differ, refined and assessed.
/// Not all keep every limit: chances are first known here.
[[nodiscard]] std::vector<Assessed> good_candidates(const SearchScene& scene, const Assessor& assessor,
                                                    const Request& request, const CandidateSearch& search);

/// An assessed track as a candidate; it answers what `of` answers, on its side.
[[nodiscard]] Assessed assessed_as(const SearchScene& scene, const Route& of, const TrackAssessment& assessment);

/// The track with all its figures, if it is admissible and its chance of enough at least `least_p`. Few draws rule out most that
/// are not.
[[nodiscard]] std::optional<TrackAssessment> if_enough(const Assessor& assessor, const Track& track, double least_p);

/// One route, assessed; `shallowest` as in CandidateSearch.
[[nodiscard]] Assessed assessed(const SearchScene& scene, const Assessor& assessor, const Route& route, bool shallowest);

}  // namespace leastharm
