#include "candidates.h"

#include <algorithm>

#include "workers.h"

namespace leastharm {
namespace {

constexpr double kApartDeg = 14;

std::vector<Route> good_routes(const SearchScene& scene, const Request& request, const CandidateSearch& search) {
  RouteLimits limits = search.limits;
  const std::vector<int> sides = sides_of(request.sides);
  limits.side = sides.size() > 1 ? kEitherSide : sides.front();
  std::vector<Route> found;
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    if (scene.asks()[a].request->id != request.id) continue;
    const std::vector<Route> of_needle = dense_search(scene, a, limits, search.spacing);
    found.insert(found.end(), of_needle.begin(), of_needle.end());
  }
  std::ranges::stable_sort(found, {}, &Route::score);
  std::vector<Route> routes;
  for (const int side : sides) {
    std::vector<Route> of_side;
    std::ranges::copy_if(found, std::back_inserter(of_side), [&](const Route& r) { return side == 0 || r.side == side; });
    const std::vector<Route> kept = thinned(of_side, search.apart_mm, kApartDeg, search.most);
    routes.insert(routes.end(), kept.begin(), kept.end());
  }
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) {
    RouteLimits same_side = limits;
    if (same_side.side != 0) same_side.side = routes[n].side;
    routes[n] = refined(scene, same_side, routes[n]);
  });
  return routes;
}

/// The least depth on the same line at which the track is admissible and sure enough of its yield; as it is where none is
/// found.
TrackAssessment at_least_depth(const Assessor& assessor, const TrackAssessment& found) {
  constexpr double kMost_mm = 10, kLeast_mm = 0.1, kDeeper_mm = 0.5, kDeepest_mm = 5;
  const double sure = wished_p_enough(assessor.file().limits);
  const auto is_sure = [&](const TrackAssessment& a) {
    return a.admissible && a.core.p_enough.value_or(1) >= sure &&
           assessor.assess_exact(a.track).core.mass_mg >= assessor.need_of_one_mg(a.track.request);
  };
  const auto moved = [&](const TrackAssessment& from, double deeper_mm) {
    Track track = from.track;
    track.tip_lps_mm += deeper_mm * axis_of(track);
    return assessor.assess_track(track);
  };
  TrackAssessment deep = found;
  for (double more = kDeeper_mm; !is_sure(deep); more += kDeeper_mm) {
    if (!found.admissible || more > kDeepest_mm) return found;
    deep = moved(found, more);
  }
  TrackAssessment best = deep;
  double keeps = 0;   // mm drawn back
  for (double more = kMost_mm; more > kLeast_mm; more /= 2) {
    if (keeps + more >= deep.path_length_mm) continue;
    const TrackAssessment a = moved(deep, -keeps - more);
    if (!is_sure(a)) continue;
    best = a;
    keeps += more;
  }
  return best;
}

}  // namespace

std::vector<int> sides_of(Sides sides) {
  switch (sides) {
    case Sides::any: return {0};
    case Sides::left: return {1};
    case Sides::right: return {-1};
    case Sides::both: return {1, -1};
  }
  return {0};
}

std::vector<Assessed> good_candidates(const SearchScene& scene, const Assessor& assessor, const Request& request,
                                      const CandidateSearch& search) {
  const std::vector<Route> routes = good_routes(scene, request, search);
  std::vector<Assessed> all(routes.size());
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) { all[n] = assessed(scene, assessor, routes[n], search.shallowest); });
  return all;
}

Assessed assessed_as(const SearchScene& scene, const Route& of, const TrackAssessment& assessment) {
  Assessed a;
  a.assessment = assessment;
  a.candidate.route = of;
  a.candidate.track = assessment.track;
  a.candidate.route.entry = scene.frame().point(assessment.track.entry_lps_mm);
  a.candidate.route.direction = scene.frame().direction((assessment.track.tip_lps_mm - assessment.track.entry_lps_mm).normalized());
  a.candidate.route.depth_mm = assessment.path_length_mm;
  a.candidate.score = assessment.damage.score;
  a.candidate.through_opening = assessment.through_opening;
  a.candidate.p_enough = assessment.core.p_enough.value_or(0);
  for (const auto& [part, score] : assessment.damage.parts)
    if (part == "hole" || part.starts_with("zone ")) a.candidate.hole_score += score;
  return a;
}

Assessed assessed(const SearchScene& scene, const Assessor& assessor, const Route& route, bool shallowest) {
  const TrackAssessment deep = assessor.assess_track(track_of(scene, route));
  return assessed_as(scene, route, shallowest ? at_least_depth(assessor, deep) : deep);
}

}  // namespace leastharm
