#include "planner/propose.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <tuple>

#include "alternatives.h"
#include "candidates.h"
#include "planner/assessor.h"
#include "search_blocking.h"

namespace leastharm {
namespace {

class Clock {
 public:
  [[nodiscard]] double seconds() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }

 private:
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
};

/// Cleanest first: what brings out least that is not wanted contaminates the later samples least.
void put_in_sampling_order(Pool& pool) {
  const auto key = [&](std::size_t n) {
    const TrackAssessment& a = pool.routes[n].assessment;
    return std::tuple(std::round(100 * a.core.foreign_fraction), a.damage.score);
  };
  std::ranges::stable_sort(pool.plan, {}, key);
}

std::vector<Track> tracks_of(const Pool& pool) {
  std::vector<Track> tracks;
  for (const std::size_t n : pool.plan) {
    tracks.push_back(pool.routes[n].candidate.track);
    tracks.back().id = "T" + std::to_string(tracks.size());
  }
  return tracks;
}

/// Candidates of all requests.
std::vector<Assessed> candidates_of_all(const SearchScene& scene, const Assessor& assessor, const CandidateSearch& search) {
  std::vector<Assessed> all;
  for (const Request& r : scene.file().requests) {
    const std::vector<Assessed> found = good_candidates(scene, assessor, r, search);
    all.insert(all.end(), found.begin(), found.end());
  }
  return all;
}

CandidateSearch least_harm(const RequestFile& file) {
  CandidateSearch search{RouteLimits(file.limits), {}};
  search.shallowest = true;
  return search;
}

CandidateSearch farther_apart(const RequestFile& file) {
  CandidateSearch search{RouteLimits(file.limits), {}};
  search.limits.need_factor = 1.25;
  search.apart_mm = std::max(15.0, file.limits.hole_spacing_mm);
  return search;
}

/// Alternatives, firmness, prices: what stands beside the plan. Its pool is widened by surer and richer routes first.
void add_what_else(Proposal& proposal, Pool& pool, std::uint64_t seed) {
  constexpr DenseSpacing kCoarse{8, 8};
  constexpr std::size_t kFew = 8;
  const RequestFile& file = pool.scene.file();
  const auto add = [&](const auto& change) {
    CandidateSearch search{RouteLimits(file.limits), kCoarse, kFew};
    change(search.limits);
    for (Assessed& a : candidates_of_all(pool.scene, pool.assessor, search))
      if (a.assessment.admissible) pool.routes.push_back(std::move(a));
  };
  add([](RouteLimits& limits) { limits.need_factor = 1.5; });
  if (pool.scene.has_keep_outs()) add([](RouteLimits& limits) { limits.clearance_mm += 5; });
  proposal.alternatives = find_alternatives(pool, proposal.assessment);
  proposal.firmness = find_firmness(pool, seed);

  CandidateSearch half{RouteLimits(file.limits), kCoarse, 2 * kFew};
  half.limits.need_factor = 0.5;
  half.shallowest = true;
  const Assessor under_half(pool.scene.body(), request_at(file, LesserChoice::half_the_mass), seed);
  std::vector<Assessed> candidates = candidates_of_all(pool.scene, under_half, half);
  candidates.insert(candidates.end(), pool.routes.begin(), pool.routes.end());   // what is enough is enough for half
  proposal.prices = find_prices(pool, proposal.assessment, candidates);
}

}  // namespace

Proposal propose(const Body& body, const RequestFile& request, std::uint64_t seed, const SearchProgress& progress) {
  const Clock clock;
  const Assessor assessor(body, request, seed);
  const SearchScene scene(body, request);
  Proposal proposal;
  std::vector<Assessed> found;
  Pool pool{scene, assessor, {}, {}};
  std::vector<Candidate> candidates;
  Choice choice;
  // Where the best routes are too doubtful or too near to each other, richer ones farther apart are taken in.
  for (const CandidateSearch& search : {least_harm(request), farther_apart(request)}) {
    for (Assessed& a : candidates_of_all(scene, assessor, search)) {
      found.push_back(a);
      if (!a.assessment.admissible) continue;
      candidates.push_back(a.candidate);
      pool.routes.push_back(std::move(a));
    }
    if (progress) (void)progress(0, 0, clock.seconds());
    choice = choose(scene, candidates);
    if (choice.feasible || found.empty()) break;
  }
  if (!choice.feasible) {
    std::vector<TrackAssessment> tried;
    for (const Assessed& a : found) tried.push_back(a.assessment);
    WhyNot why = find_blocking(scene, assessor, tried, candidates);
    proposal.blocking = std::move(why.blocking);
    proposal.proven = why.proven;
    return proposal;
  }
  pool.plan = choice.chosen;
  put_in_sampling_order(pool);
  proposal.feasible = true;
  proposal.assessment = assessor.assess(tracks_of(pool));
  proposal.certificate = {0, proposal.assessment.programme.score > 0 ? 1.0 : 0.0, "", "none yet"};
  proposal.stopped = "gap";
  add_what_else(proposal, pool, seed);
  return proposal;
}

namespace {

nlohmann::json to_json(const Price& price) {
  nlohmann::json j{{"choice", name_of(price.choice)}, {"found", price.found}, {"lost", price.lost}};
  if (!price.found) return j;
  const Programme& p = price.assessment.programme;
  j.update({{"score", p.score}, {"cores", price.assessment.tracks.size()}, {"holes", p.holes}, {"mass_mg", p.mass_mg}});
  return j;
}

nlohmann::json to_json(const Alternative& a) {
  return {{"id", a.id},
          {"best_in", a.best_in},
          {"in_place_of", a.in_place_of},
          {"tracks", {to_json(a.route())}},
          {"programme", to_json(a.assessment).at("programme")}};
}

}  // namespace

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
  j["alternatives"] = json::array();
  for (const Alternative& a : proposal.alternatives) j["alternatives"].push_back(to_json(a));
  const Firmness& firmness = proposal.firmness;
  j["firmness"] = {{"rivals", firmness.rivals}, {"in_words", firmness_sentence(firmness)}};
  if (firmness.rivals > 0)
    j["firmness"].update({{"first_in_100", firmness.first_in_100}, {"changed_by", firmness.changed_by}});
  j["prices"] = json::array();
  for (const Price& price : proposal.prices) j["prices"].push_back(to_json(price));
  return j;
}

}  // namespace leastharm
