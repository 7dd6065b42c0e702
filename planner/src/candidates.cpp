#include "candidates.h"

#include <algorithm>

#include "workers.h"

namespace leastharm {
namespace {

constexpr double kApartDeg = 14;
constexpr std::size_t kBeginnings = 12;       // of descents, for each route that is kept,
constexpr double kBeginningsApart = 0.4;     // and how much nearer to each other they may be than those

/// Sorted by their price: the score alone would put those first that are far from sure.
std::vector<Route> cheapest_first(const SearchScene& scene, const RouteLimits& limits, std::vector<Route> routes) {
  std::vector<std::pair<double, std::size_t>> prices(routes.size());
  for_each_chunk(routes.size(), 64, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) prices[n] = {price_of(scene, limits, routes[n]), n};
  });
  std::ranges::sort(prices);
  std::vector<Route> sorted;
  for (const auto& [price, n] : prices) sorted.push_back(routes[n]);
  return sorted;
}

/// Those that differ, descended from many beginnings and hopped on from.
std::vector<Route> best_of_side(const SearchScene& scene, const CandidateSearch& search, RouteLimits limits, int side, const std::vector<Route>& found) {
  if (side != 0) limits.side = side;
  std::vector<Route> routes;
  std::ranges::copy_if(found, std::back_inserter(routes), [&](const Route& r) { return side == 0 || r.side == side; });
  const auto improve_each = [&](Route (*improved)(const SearchScene&, const RouteLimits&, const Route&), double apart, std::size_t most) {
    routes = thinned(routes, apart * search.apart_mm, apart * kApartDeg, most);
    for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) { routes[n] = improved(scene, limits, routes[n]); });
    routes = cheapest_first(scene, limits, std::move(routes));
  };
  improve_each(refined, kBeginningsApart, kBeginnings * search.most);
  improve_each(hopped, 1, search.most);
  return thinned(routes, search.apart_mm, kApartDeg, search.most);
}

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
  found = cheapest_first(scene, limits, std::move(found));
  std::vector<Route> routes;
  for (const int side : sides) {
    const std::vector<Route> best = best_of_side(scene, search, limits, side, found);
    routes.insert(routes.end(), best.begin(), best.end());
  }
  return routes;
}

/// The track with its tip at the least depth on its line at which it is admissible and sure enough of its yield; as it is where
/// none is found.
Track at_least_depth(const Assessor& assessor, const Track& track) {
  constexpr double kMost_mm = 10, kLeast_mm = 0.1, kDeeper_mm = 1, kDeepest_mm = 4;
  const double sure = wished_p_enough(assessor.file().limits), path_mm = path_length_mm(track);
  const auto moved = [&](double deeper_mm) {
    Track other = track;
    other.tip_lps_mm += deeper_mm * axis_of(track);
    return other;
  };
  const auto is_sure = [&](double deeper_mm) {
    const Track other = moved(deeper_mm);
    const TrackAssessment exact = assessor.assess_exact(other);
    if (!exact.admissible || exact.core.mass_mg < assessor.need_of_one_mg(track.request)) return false;
    return if_enough(assessor, other, sure).has_value();
  };
  double depth = 0;   // beyond the given one
  for (double more = kDeeper_mm; !is_sure(depth); more *= 2) {
    if (more > kDeepest_mm) return track;
    depth = more;
  }
  for (double back = kMost_mm; back > kLeast_mm; back /= 2)
    if (path_mm + depth - back > kLeast_mm && is_sure(depth - back)) depth -= back;
  return moved(depth);
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

std::optional<TrackAssessment> if_enough(const Assessor& assessor, const Track& track, double least_p) {
  constexpr int kFewDraws = 500;
  constexpr double kFewOff = 0.02;   // some three standard errors of what few draws say
  if (assessor.assess_track(track, kFewDraws).core.p_enough.value_or(1) < least_p - kFewOff) return std::nullopt;
  TrackAssessment a = assessor.assess_track(track);
  if (!a.admissible || a.core.p_enough.value_or(1) < least_p) return std::nullopt;
  return a;
}

Assessed assessed(const SearchScene& scene, const Assessor& assessor, const Route& route, bool shallowest) {
  const Track track = track_of(scene, route);
  return assessed_as(scene, route, assessor.assess_track(shallowest ? at_least_depth(assessor, track) : track));
}

}  // namespace leastharm
