#include "alternatives.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace leastharm {
namespace {

constexpr double kClearlyMm = 20, kClearlyDeg = 25;   // routes alike in tip and direction are one for a committee
constexpr std::size_t kMost = 6;

const Route& route_of(const Pool& pool, std::size_t n) { return pool.routes[n].candidate.route; }

bool alike(const Route& a, const Route& b) {
  return (a.tip() - b.tip()).norm() < kClearlyMm &&
         a.direction.dot(b.direction) > std::cos(kClearlyDeg * std::numbers::pi / 180);
}

bool like_the_plans(const Pool& pool, std::size_t n) {
  return std::ranges::any_of(pool.plan, [&](std::size_t p) { return alike(route_of(pool, p), route_of(pool, n)); });
}

/// What routes are weighed by, in steps below which differences do not count; less is better in each.
struct Merits {
  double damage, doubt, poverty, opening;

  [[nodiscard]] bool dominates(const Merits& o) const {
    const bool as_good = damage <= o.damage && doubt <= o.doubt && poverty <= o.poverty && opening <= o.opening;
    return as_good && (damage < o.damage || doubt < o.doubt || poverty < o.poverty || opening < o.opening);
  }
};

/// Distance from the entry to the nearest voxel of any opening, mm; 0 through one, and where there is none.
double opening_mm(const Body& body, const TrackAssessment& a) {
  constexpr double kNone = 1e9;
  double nearest = a.through_opening ? 0 : kNone;
  for (const Mark& mark : body.marks) {
    if (mark.kind != MarkKind::opening) continue;
    const VoxelIndex& c = mark.mask.corner;
    for (int k = 0; k < mark.mask.box[2]; ++k)
      for (int j = 0; j < mark.mask.box[1]; ++j)
        for (int i = 0; i < mark.mask.box[0]; ++i) {
          const VoxelIndex v{c.i + i, c.j + j, c.k + k};
          if (!mark.mask.contains(v)) continue;
          nearest = std::min(nearest, (body.grid.lps_from_index(Vec3(v.i, v.j, v.k)) - a.track.entry_lps_mm).norm());
        }
  }
  return nearest == kNone ? 0 : nearest;
}

/// The chance that all goes as meant: enough is reached and no keep-out is touched, taken as independent.
double certainty(const TrackAssessment& a) {
  double chance = a.core.p_enough.value_or(0);
  for (const auto& [name, p] : a.p_touch) chance *= 1 - p;
  return chance;
}

Merits merits_of(const Body& body, const TrackAssessment& a, double damage_step) {
  return {std::round(a.damage.score / damage_step), std::round(100 * (1 - certainty(a))), -std::round(2 * a.core.mass_mg),
          std::round(opening_mm(body, a))};
}

/// A shown route and why.
struct Shown {
  std::size_t route, place;
  std::string best_in;
};

class Selection {
 public:
  explicit Selection(const Pool& pool) : pool_(pool) {
    double least = 1e300;
    for (const Assessed& a : pool.routes) least = std::min(least, a.assessment.damage.score);
    for (const Assessed& a : pool.routes)
      merits_.push_back(merits_of(pool.scene.body(), a.assessment, std::max(0.01 * least, 1e-6)));
  }

  std::vector<Shown> of_request(const Request& request) {
    shown_.clear();
    candidates_.clear();
    for (std::size_t n = 0; n < pool_.routes.size(); ++n) {
      if (pool_.request_of(n).id != request.id || like_the_plans(pool_, n)) continue;
      if (place_for(pool_, n)) candidates_.push_back(n);
    }
    std::ranges::stable_sort(candidates_, {}, [&](std::size_t n) { return pool_.routes[n].assessment.damage.score; });
    if (candidates_.empty()) return {};
    show(candidates_.front(), "damage after the plan");
    show_best(request, &Merits::doubt, "certainty");
    show_best(request, &Merits::poverty, "yield");
    show_best(request, &Merits::opening, "nearness to an opening");
    for (const std::size_t n : candidates_)
      if (!dominated(n)) show(n, "no single thing; nothing shown is better in all");
    return shown_;
  }

 private:
  [[nodiscard]] bool dominated(std::size_t n) const {
    const auto beats = [&](std::size_t other) { return merits_[other].dominates(merits_[n]); };
    const auto of_same = [&](std::size_t p) { return pool_.request_of(p).id == pool_.request_of(n).id && beats(p); };
    return std::ranges::any_of(candidates_, beats) || std::ranges::any_of(pool_.plan, of_same);
  }

  void show(std::size_t n, const std::string& best_in) {
    for (Shown& s : shown_) {
      if (s.route == n) return;
      if (alike(route_of(pool_, s.route), route_of(pool_, n))) return;
    }
    shown_.push_back({n, *place_for(pool_, n), best_in});
  }

  /// The best in one thing, if it is better in it than every track of the plan for the same request.
  void show_best(const Request& request, double Merits::*thing, const std::string& name) {
    const auto value = [&](std::size_t n) { return merits_[n].*thing; };
    const std::size_t best = *std::ranges::min_element(candidates_, {}, value);   // the least damage among equals
    for (const std::size_t p : pool_.plan)
      if (pool_.request_of(p).id == request.id && value(p) <= value(best)) return;
    for (Shown& s : shown_)
      if (s.route == best) s.best_in += ", " + name;
    show(best, name);
  }

  const Pool& pool_;
  std::vector<Merits> merits_;
  std::vector<std::size_t> candidates_;   // of one request, by damage
  std::vector<Shown> shown_;
};

/// The plan with one track exchanged.
std::vector<Track> exchanged(const Assessment& plan, std::size_t place, Track track) {
  std::vector<Track> tracks;
  for (const TrackAssessment& a : plan.tracks) tracks.push_back(a.track);
  tracks[place] = std::move(track);
  return tracks;
}

}  // namespace

std::optional<std::size_t> place_for(const Pool& pool, std::size_t route) {
  if (std::ranges::find(pool.plan, route) != pool.plan.end()) return std::nullopt;
  const Candidate& mine = pool.routes[route].candidate;
  const Request& request = pool.request_of(route);
  std::optional<std::size_t> place;
  for (std::size_t p = 0; p < pool.plan.size(); ++p) {
    const Candidate& theirs = pool.routes[pool.plan[p]].candidate;
    if (pool.request_of(pool.plan[p]).id != request.id) continue;
    if (request.sides == Sides::both && theirs.route.side != mine.route.side) continue;
    if (place && pool.routes[pool.plan[*place]].candidate.score >= theirs.score) continue;
    const bool fits = std::ranges::all_of(pool.plan, [&](std::size_t other) {
      return other == pool.plan[p] || can_stand_together(pool.scene, mine, pool.routes[other].candidate);
    });
    if (fits) place = p;
  }
  return place;
}

std::vector<std::size_t> clearly_different(const Pool& pool) {
  std::vector<std::size_t> order, kept;
  for (std::size_t n = 0; n < pool.routes.size(); ++n)
    if (!like_the_plans(pool, n) && place_for(pool, n)) order.push_back(n);
  std::ranges::stable_sort(order, {}, [&](std::size_t n) { return pool.routes[n].candidate.score; });
  for (const std::size_t n : order) {
    const auto like = [&](std::size_t k) { return alike(route_of(pool, k), route_of(pool, n)); };
    if (std::ranges::none_of(kept, like)) kept.push_back(n);
  }
  return kept;
}

std::vector<Alternative> find_alternatives(const Pool& pool, const Assessment& plan) {
  Selection selection(pool);
  const std::vector<Request>& requests = pool.scene.file().requests;
  std::vector<Shown> shown;
  for (const Request& request : requests) {
    std::vector<Shown> of_request = selection.of_request(request);
    of_request.resize(std::min(of_request.size(), std::max<std::size_t>(1, kMost / requests.size())));
    shown.insert(shown.end(), of_request.begin(), of_request.end());
  }
  std::vector<Alternative> alternatives;
  for (const Shown& s : shown) {
    if (alternatives.size() == kMost) break;
    Alternative a{std::string("A") + std::to_string(alternatives.size() + 1), s.best_in, plan.tracks[s.place].track.id, {}};
    Track track = pool.routes[s.route].candidate.track;
    track.id = a.id;
    a.assessment = pool.assessor.assess(exchanged(plan, s.place, std::move(track)));
    if (std::ranges::all_of(a.assessment.tracks, &TrackAssessment::admissible)) alternatives.push_back(std::move(a));
  }
  return alternatives;
}

const TrackAssessment& Alternative::route() const {
  return *std::ranges::find_if(assessment.tracks, [&](const TrackAssessment& t) { return t.track.id == id; });
}

}  // namespace leastharm
