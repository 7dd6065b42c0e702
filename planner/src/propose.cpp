#include "planner/propose.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <tuple>

#include "planner/assessor.h"
#include "programme.h"
#include "search_blocking.h"
#include "search_dense.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr std::size_t kRefined = 48;      // routes of each request and side that are refined and assessed
constexpr double kApartMm = 8, kApartDeg = 14;

class Clock {
 public:
  [[nodiscard]] double seconds() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }

 private:
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
};

std::vector<int> sides_of(Sides sides) {
  switch (sides) {
    case Sides::any: return {0};
    case Sides::left: return {1};
    case Sides::right: return {-1};
    case Sides::both: return {1, -1};
  }
  return {0};
}

/// Good routes of a request: of each side asked for the best of every needle, those that differ, refined.
std::vector<Route> good_routes(const SearchScene& scene, const Request& request) {
  RouteLimits limits(scene.file().limits);
  const std::vector<int> sides = sides_of(request.sides);
  limits.side = sides.size() > 1 ? kEitherSide : sides.front();
  std::vector<Route> found;
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    if (scene.asks()[a].request != &request) continue;
    const std::vector<Route> of_needle = dense_search(scene, a, limits, {});
    found.insert(found.end(), of_needle.begin(), of_needle.end());
  }
  std::ranges::stable_sort(found, {}, &Route::score);
  std::vector<Route> routes;
  for (const int side : sides) {
    std::vector<Route> of_side;
    std::ranges::copy_if(found, std::back_inserter(of_side), [&](const Route& r) { return side == 0 || r.side == side; });
    const std::vector<Route> kept = thinned(of_side, kApartMm, kApartDeg, kRefined);
    routes.insert(routes.end(), kept.begin(), kept.end());
  }
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) {
    RouteLimits same_side = limits;
    if (same_side.side != 0) same_side.side = routes[n].side;
    routes[n] = refined(scene, same_side, routes[n]);
  });
  return routes;
}

struct Assessed {
  Candidate candidate;
  TrackAssessment assessment;
};

std::vector<Assessed> assessed(const SearchScene& scene, const Assessor& assessor, const std::vector<Route>& routes) {
  std::vector<Assessed> all(routes.size());
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) {
    Assessed& a = all[n];
    a.candidate.route = routes[n];
    a.candidate.track = track_of(scene, routes[n]);
    a.assessment = assessor.assess_track(a.candidate.track);
    a.candidate.track = a.assessment.track;
    a.candidate.route.entry = scene.frame().point(a.assessment.track.entry_lps_mm);
    a.candidate.route.depth_mm = a.assessment.path_length_mm;
    a.candidate.score = a.assessment.damage.score;
    a.candidate.through_opening = a.assessment.through_opening;
    a.candidate.p_enough = a.assessment.core.p_enough.value_or(0);
    for (const auto& [part, score] : a.assessment.damage.parts)
      if (part == "hole" || part.starts_with("zone ")) a.candidate.hole_score += score;
  });
  return all;
}

/// Cleanest first: what brings out least that is not wanted contaminates the later samples least.
void put_in_sampling_order(std::vector<Track>& tracks, const std::vector<TrackAssessment>& of) {
  std::vector<std::size_t> order(tracks.size());
  for (std::size_t n = 0; n < order.size(); ++n) order[n] = n;
  const auto foreign = [&](std::size_t n) { return std::round(100 * of[n].core.foreign_fraction); };
  std::ranges::stable_sort(order, {}, [&](std::size_t n) { return std::tuple(foreign(n), of[n].damage.score); });
  std::vector<Track> sorted;
  for (const std::size_t n : order) {
    sorted.push_back(tracks[n]);
    sorted.back().id = "T" + std::to_string(sorted.size());
  }
  tracks = std::move(sorted);
}

}  // namespace

Proposal propose(const Body& body, const RequestFile& request, std::uint64_t seed, const SearchProgress& progress) {
  const Clock clock;
  const Assessor assessor(body, request, seed);
  const SearchScene scene(body, request);
  Proposal proposal;
  std::vector<Assessed> pool;
  for (const Request& r : request.requests) {
    const std::vector<Assessed> found = assessed(scene, assessor, good_routes(scene, r));
    pool.insert(pool.end(), found.begin(), found.end());
    if (progress && !progress(0, 0, clock.seconds())) break;
  }
  std::vector<Candidate> candidates;
  std::vector<const TrackAssessment*> of;
  for (const Assessed& a : pool)
    if (a.assessment.admissible) {
      candidates.push_back(a.candidate);
      of.push_back(&a.assessment);
    }
  const Choice choice = choose(scene, candidates);
  if (!choice.feasible) {
    std::vector<TrackAssessment> tried;
    for (const Assessed& a : pool) tried.push_back(a.assessment);
    proposal.blocking = find_blocking(scene, assessor, tried, candidates.size());
    return proposal;
  }
  std::vector<Track> tracks;
  std::vector<TrackAssessment> chosen;
  for (const std::size_t c : choice.chosen) {
    tracks.push_back(candidates[c].track);
    chosen.push_back(*of[c]);
  }
  put_in_sampling_order(tracks, chosen);
  proposal.feasible = true;
  proposal.assessment = assessor.assess(tracks);
  proposal.certificate = {0, proposal.assessment.programme.score > 0 ? 1.0 : 0.0, "", "none yet"};
  proposal.stopped = "gap";
  return proposal;
}

nlohmann::json to_json(const Proposal& proposal) {
  using nlohmann::json;
  if (!proposal.feasible) {
    json blocking = json::array();
    for (const Blocking& b : proposal.blocking)
      blocking.push_back({{"request", b.request}, {"constraint", b.constraint}, {"needed", b.needed},
                          {"best_found", b.best_found}, {"unit", b.unit}, {"remedy", b.remedy}});
    return {{"feasible", false}, {"proven", proposal.proven}, {"blocking", blocking}};
  }
  json j = to_json(proposal.assessment);
  j["feasible"] = true;
  j["certificate"] = to_json(proposal.certificate);
  j["stopped"] = proposal.stopped;
  json alternatives = json::array();
  for (const Alternative& a : proposal.alternatives) {
    json one = to_json(a.assessment);
    one["id"] = a.id;
    one["best_in"] = a.best_in;
    alternatives.push_back(std::move(one));
  }
  j["alternatives"] = std::move(alternatives);
  j["firmness"] = {{"first_in_100", proposal.firmness.first_in_100}, {"changed_by", proposal.firmness.changed_by}};
  return j;
}

}  // namespace leastharm
