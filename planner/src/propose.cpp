#include "planner/propose.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <map>
#include <memory>
#include <numeric>
#include <optional>
#include <tuple>

#include "alternatives.h"
#include "candidates.h"
#include "certify.h"
#include "planner/assessor.h"
#include "polish.h"
#include "pool_bound.h"
#include "search_blocking.h"
#include "workers.h"

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

constexpr int kOthers = 3, kOthersLater = 8;   // polished beside the plan: before the bound is looked for, and after

/// The plan's tracks and the best others of each request and side: what is polished may change places.
std::vector<std::size_t> worth_polishing(const Pool& pool, const std::vector<Candidate>& candidates, int others) {
  std::vector<std::size_t> order(candidates.size()), worth = pool.plan;
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, {}, [&](std::size_t n) { return candidates[n].score; });
  std::map<std::pair<const Request*, int>, int> taken;
  for (const std::size_t n : order) {
    const Route& route = candidates[n].route;
    if (std::ranges::count(pool.plan, n) == 0 && taken[{pool.scene.asks()[route.ask].request, route.side}]++ < others) worth.push_back(n);
  }
  return worth;
}

/// Puts further tracks into the pool and chooses anew; the plan's score.
double take_in(Pool& pool, std::vector<Candidate>& candidates, std::vector<Assessed> further) {
  for (Assessed& a : further) {
    candidates.push_back(a.candidate);
    pool.routes.push_back(std::move(a));
  }
  const Choice choice = choose(pool.scene, candidates);
  pool.plan = choice.chosen;
  return choice.cost;
}

/// Puts polished versions of some tracks into the pool and chooses anew; the plan's score.
double polish(Pool& pool, std::vector<Candidate>& candidates, const std::vector<std::size_t>& which) {
  std::vector<Assessed> better(which.size());
  for_each_chunk(better.size(), 1, [&](std::size_t n, std::size_t) { better[n] = polished(pool.scene, pool.assessor, pool.routes[which[n]]); });
  return take_in(pool, candidates, std::move(better));
}

/// Looks for better tracks a few millimetres beside the plan's, for hollows are many and small; the plan's score.
double look_beside(Pool& pool, std::vector<Candidate>& candidates) {
  constexpr std::size_t kStarts = 12;   // in all
  const std::vector<std::size_t> plan = pool.plan;
  const std::size_t each = std::max<std::size_t>(1, kStarts / plan.size());
  std::vector<std::optional<Assessed>> found(each * plan.size());
  for_each_chunk(found.size(), 1, [&](std::size_t n, std::size_t) {
    const Assessed& from = pool.routes[plan[n / each]];
    const std::optional<Route> route = descended_beside(pool.scene, RouteLimits(pool.scene.file().limits), from.candidate.route, n % each);
    if (!route) return;
    Assessed a = assessed(pool.scene, pool.assessor, *route, true);
    if (a.assessment.admissible) found[n] = polished(pool.scene, pool.assessor, a);
  });
  std::vector<Assessed> better;
  for (std::optional<Assessed>& a : found)
    if (a) better.push_back(std::move(*a));
  return take_in(pool, candidates, std::move(better));
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

constexpr std::size_t kFew = 8;   // routes of each side that are looked for to stand beside the plan
constexpr DenseSpacing kCoarse{.hidden_entry_mm = 6, .hidden_direction_deg = 6};

/// Surer and richer routes than the plan needs.
std::vector<Assessed> surer_and_richer(const Pool& pool) {
  std::vector<Assessed> found;
  const auto add = [&](const auto& change) {
    CandidateSearch search{RouteLimits(pool.scene.file().limits), kCoarse, kFew};
    change(search.limits);
    for (Assessed& a : candidates_of_all(pool.scene, pool.assessor, search))
      if (a.assessment.admissible) found.push_back(std::move(a));
  };
  add([](RouteLimits& limits) { limits.need_factor = 1.5; });
  if (pool.scene.has_keep_outs()) add([](RouteLimits& limits) { limits.clearance_mm += 5; });
  return found;
}

/// Alternatives, firmness, prices: what stands beside the plan.
void add_what_else(Proposal& proposal, const Pool& pool, std::uint64_t seed) {
  const RequestFile& file = pool.scene.file();
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

/// The work that bounds may cost, spent where the plan's bound loses most; about a minute on two cores.
constexpr double kLatticePoints = 3.2e9;

/// The bound for one request: the sum of its cores' own, on those sides where they have to lie.
struct RequestBound {
  double cores = 0;        ///< without holes
  double first_hole = 0;   ///< what the hole of one of them adds
};

RequestBound bound_of(const Request& request, const std::vector<int>& sides, const std::vector<SideBound>& bounds) {
  if (request.pooled && request.replicates > 1) {   // one core that holds its share, on whichever side
    const double cores = std::ranges::min(bounds, {}, &SideBound::without_hole).without_hole;
    return {cores, std::ranges::min(bounds, {}, &SideBound::lower_bound).lower_bound - cores};
  }
  const auto shared_out = [&](const std::vector<int>& counts) {
    RequestBound sum;
    for (std::size_t s = 0; s < sides.size(); ++s) {
      if (counts[s] == 0) continue;
      sum.cores += counts[s] * bounds[s].without_hole;
      sum.first_hole = std::max(sum.first_hole, bounds[s].lower_bound - bounds[s].without_hole);
    }
    return sum;
  };
  const int n = request.replicates;
  if (sides.size() == 1) return shared_out({n});
  const RequestBound a = shared_out({(n + 1) / 2, n / 2}), b = shared_out({n / 2, (n + 1) / 2});
  return a.cores + a.first_hole <= b.cores + b.first_hole ? a : b;
}

/// Finds the bounds of all requests, and better routes on the way, which go into the pool.
class BoundSearch {
 public:
  BoundSearch(Pool& pool, const Clock& clock, const SearchProgress& progress) : pool_(pool), grounds_(pool.scene), clock_(clock), progress_(progress) {
    for (const Request& r : pool.scene.file().requests) {
      const bool pooled = r.pooled && r.replicates > 1;
      Certification task{&r, {}, pool.scene.file().gap, {}};
      for (const int side : sides_of(r.sides)) task.sides.push_back({side, best_score(r, side)});
      std::optional<Certifier>& certifier = certifiers_.emplace_back();
      if (std::optional<OneOfThePool> one = pooled ? one_of_the_pool(pool.scene.body(), pool.scene.file(), r) : std::nullopt) {
        PoolGround& of_pool = *pool_grounds_.emplace_back(std::make_unique<PoolGround>(std::move(*one)));
        task.request = &of_pool.core.request();   // its routes are not this one's: they answer less
        certifier.emplace(of_pool.grounds, task);
      } else if (!pooled) {
        task.offer = [this](const Route& route) { return offered(route); };
        certifier.emplace(grounds_, task);
      }
      const int cores = pooled ? 1 : r.sides == Sides::both ? (r.replicates + 1) / 2 : r.replicates;
      for (std::size_t s = 0; s < task.sides.size(); ++s) sides_.push_back({certifiers_.size() - 1, s, task.sides[s].score, cores});
    }
  }

  /// `score` is the plan's, for who watches. Ends where the one who watches wants no more, or when time is out and something is known.
  void run(double score) {
    for (Side* next = worst(); next != nullptr; next = worst()) {
      const bool go_on = !progress_ || progress_(score, bound(), clock_.seconds());
      if (!go_on || (clock_.seconds() >= pool_.scene.file().time_s && knows())) stopped_ = "time";
      else if (points() > kLatticePoints) stopped_ = "nodes";
      if (stopped_ != "gap") return;
      certifiers_[next->certifier]->look_closer(next->number);
    }
    const auto reached = [&](const Side& side) { return certifiers_[side.certifier] && certifiers_[side.certifier]->within_gap(side.number); };
    if (!std::ranges::all_of(sides_, reached)) stopped_ = "nodes";   // what is finest does not suffice
  }

  [[nodiscard]] double bound() const {
    std::vector<SideBound> bounds;
    for (const Side& side : sides_) bounds.push_back(bound_of_side(side));
    return total(bounds);
  }
  [[nodiscard]] const std::string& stopped() const { return stopped_; }

 private:
  [[nodiscard]] bool knows() const {
    return std::ranges::all_of(certifiers_, [](const std::optional<Certifier>& c) { return !c || c->knows(); });
  }

  /// One request on one side.
  struct Side {
    std::size_t certifier = 0, number = 0;   ///< its request's, and which of that one's sides it is
    double score = 0;                        ///< of the best single track known at first
    int cores = 1;
  };
  /// What all sides of a pooled request are bounded on.
  struct PoolGround {
    OneOfThePool core;
    SweepGrounds grounds;
    explicit PoolGround(OneOfThePool one) : core(std::move(one)), grounds(*core.scene) {}
  };

  /// Where the plan's bound loses most, and something can be done about it.
  [[nodiscard]] Side* worst() {
    Side* worst = nullptr;
    double most = 0;
    for (Side& side : sides_) {
      const std::optional<Certifier>& certifier = certifiers_[side.certifier];
      if (!certifier || certifier->finished(side.number)) continue;
      const double loss = side.cores * (side.score - bound_of_side(side).lower_bound);
      if (worst == nullptr || loss > most) worst = &side, most = loss;
    }
    return worst;
  }

  [[nodiscard]] SideBound bound_of_side(const Side& side) const {
    const std::optional<Certifier>& certifier = certifiers_[side.certifier];
    return certifier ? certifier->bound(side.number) : SideBound{};
  }

  std::optional<double> offered(const Route& route) {
    Assessed a = assessed(pool_.scene, pool_.assessor, route, true);
    if (!a.assessment.admissible) return std::nullopt;
    pool_.routes.push_back(std::move(a));
    return pool_.routes.back().candidate.score;
  }

  [[nodiscard]] double points() const {
    double sum = 0;
    for (const std::optional<Certifier>& certifier : certifiers_) sum += certifier ? certifier->points() : 0;
    return sum;
  }

  /// Of a single track on that side; of any, where none is known there.
  [[nodiscard]] double best_score(const Request& request, int side) const {
    double there = std::numeric_limits<double>::infinity(), anywhere = there;
    for (const Assessed& a : pool_.routes) {
      const Route& route = a.candidate.route;
      if (pool_.scene.asks()[route.ask].request != &request) continue;
      anywhere = std::min(anywhere, a.candidate.score);
      if (side == 0 || route.side == side) there = std::min(there, a.candidate.score);
    }
    return std::isfinite(there) ? there : anywhere;
  }

  /// Tracks of all requests may share one hole; one of them has to be paid for where a track needs one at all.
  [[nodiscard]] double total(const std::vector<SideBound>& bounds) const {
    double cores = 0, hole = 0;
    std::size_t first = 0;
    for (const Request& r : pool_.scene.file().requests) {
      const std::vector<int> sides = sides_of(r.sides);
      const RequestBound b = bound_of(r, sides, {bounds.begin() + static_cast<std::ptrdiff_t>(first),
                                                 bounds.begin() + static_cast<std::ptrdiff_t>(first + sides.size())});
      first += sides.size();
      cores += b.cores;
      hole = std::max(hole, b.first_hole);
    }
    return cores + hole;
  }

  Pool& pool_;
  SweepGrounds grounds_;
  const Clock& clock_;
  const SearchProgress& progress_;
  std::vector<std::unique_ptr<PoolGround>> pool_grounds_;
  std::vector<std::optional<Certifier>> certifiers_;   // by request; none where nothing can be claimed
  std::vector<Side> sides_;
  std::string stopped_ = "gap";
};

Certificate certificate_of(const RequestFile& file, double score, double bound) {
  Certificate c;
  c.lower_bound = std::min(bound, score);
  c.gap = score > 0 ? (score - c.lower_bound) / score : 0;
  c.covers = "All straight tracks with the listed needles through this map, under these weights, that keep the limits on tilt, entry angle, "
             "usable length, side and the room for the hand, and whose core has the asked chance of enough. The other limits are checked on "
             "the plan alone; they can only make every track dearer.";
  if (file.requests.size() > 1 || file.requests[0].replicates > 1)
    c.covers += " Of several cores it is the sum of what each costs at least on its side, with one hole at most for all.";
  if (std::ranges::any_of(file.requests, [](const Request& r) { return r.pooled && r.replicates > 1; }))
    c.covers += " Of cores that are pooled only one is counted: where their sum is enough, one of them holds its share with its share of the chance.";
  c.method = "branch and bound over sheaves of directions and cubes of tips";
  return c;
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
  (void)polish(pool, candidates, worth_polishing(pool, candidates, kOthers));
  const double score = look_beside(pool, candidates);
  BoundSearch bounds(pool, clock, progress);
  const std::size_t known = pool.routes.size();
  bounds.run(score);
  const bool better_on_the_way = pool.routes.size() > known;
  for (std::size_t n = known; n < pool.routes.size(); ++n) candidates.push_back(pool.routes[n].candidate);
  const double chosen_anew = take_in(pool, candidates, surer_and_richer(pool));   // one of these may be cheaper, too
  if (better_on_the_way || chosen_anew < score) (void)polish(pool, candidates, worth_polishing(pool, candidates, kOthersLater));
  put_in_sampling_order(pool);
  proposal.feasible = true;
  proposal.assessment = assessor.assess(tracks_of(pool));
  proposal.certificate = certificate_of(request, proposal.assessment.programme.score, bounds.bound());
  proposal.stopped = bounds.stopped();
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
