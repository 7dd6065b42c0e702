#include "programme.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "integer_program.h"
#include "planner/cylinder.h"
#include "planner/together.h"

namespace leastharm {
namespace {

constexpr double kRadian = 180 / std::numbers::pi;

const Needle& needle_of(const SearchScene& scene, const Candidate& c) { return *scene.asks()[c.route.ask].needle; }

/// Whether a's core meets b's steel.
bool core_meets(const SearchScene& scene, const Candidate& a, const Candidate& b) {
  const double apart = segment_distance_mm(a.route.core_start(scene), a.route.tip(), b.route.entry,
                                           b.route.at(b.route.depth_mm + needle_of(scene, b).dead_tip_mm));
  return apart < (needle_of(scene, a).bore_mm + needle_of(scene, b).outer_mm) / 2;
}

/// Groups of candidates of which at most one can be taken: a greedy cover of all clashes by cliques, which binds the
/// program's relaxation far tighter than pairs do.
std::vector<std::vector<std::size_t>> clash_cliques(const std::vector<std::vector<char>>& clash) {
  const std::size_t n = clash.size();
  std::vector<std::vector<char>> covered(n, std::vector<char>(n, 0));
  std::vector<std::vector<std::size_t>> cliques;
  for (std::size_t a = 0; a < n; ++a)
    for (std::size_t b = a + 1; b < n; ++b) {
      if (!clash[a][b] || covered[a][b]) continue;
      std::vector<std::size_t> clique{a, b};
      for (std::size_t c = 0; c < n; ++c)
        if (c != a && c != b && std::ranges::all_of(clique, [&](std::size_t m) { return clash[c][m] != 0; }))
          clique.push_back(c);
      for (const std::size_t p : clique)
        for (const std::size_t q : clique) covered[p][q] = 1;
      std::ranges::sort(clique);
      cliques.push_back(std::move(clique));
    }
  return cliques;
}

/// Candidates that share one hole; each in exactly one group.
std::vector<std::size_t> hole_groups(const SearchScene& scene, const std::vector<Candidate>& candidates) {
  std::vector<std::size_t> group(candidates.size());
  for (std::size_t c = 0; c < candidates.size(); ++c) {
    group[c] = c;
    for (std::size_t b = 0; b < c; ++b)
      if (group[b] == b && (candidates[b].route.entry - candidates[c].route.entry).norm() < 0.05 &&
          &needle_of(scene, candidates[b]) == &needle_of(scene, candidates[c])) {
        group[c] = b;
        break;
      }
  }
  return group;
}

void add_request_rows(const SearchScene& scene, const std::vector<Candidate>& candidates,
                      const std::vector<Request>& requests, IntegerProgram& program) {
  for (const Request& request : requests) {
    IntegerProgram::Row count{{}, static_cast<double>(request.replicates), static_cast<double>(request.replicates)};
    IntegerProgram::Row balance{{}, -1, 1};
    for (std::size_t c = 0; c < candidates.size(); ++c) {
      if (scene.asks()[candidates[c].route.ask].request->id != request.id) continue;
      count.terms.push_back({c, 1});
      if (request.sides == Sides::both) balance.terms.push_back({c, static_cast<double>(candidates[c].route.side)});
    }
    program.rows.push_back(std::move(count));
    if (request.sides == Sides::both) program.rows.push_back(std::move(balance));
  }
}

}  // namespace

bool share_a_hole(const SearchScene& scene, const Candidate& a, const Candidate& b) {
  const double touching = (needle_of(scene, a).outer_mm + needle_of(scene, b).outer_mm) / 2;
  return a.route.direction.dot(b.route.direction) >= std::cos(kFanAngle_deg / kRadian) &&
         (a.route.entry - b.route.entry).norm() < touching;
}

bool can_stand_together(const SearchScene& scene, const Candidate& a, const Candidate& b) {
  if (core_meets(scene, a, b) || core_meets(scene, b, a)) return false;
  const Request* request = scene.asks()[a.route.ask].request;
  if (request == scene.asks()[b.route.ask].request &&
      segment_distance_mm(a.route.core_start(scene), a.route.tip(), b.route.core_start(scene), b.route.tip()) < request->spacing_mm)
    return false;
  if (a.through_opening || b.through_opening) return true;
  return share_a_hole(scene, a, b) || (a.route.entry - b.route.entry).norm() >= scene.file().limits.hole_spacing_mm;
}

Choice choose(const SearchScene& scene, const std::vector<Candidate>& candidates) {
  return choose(scene, candidates, scene.file().requests);
}

Choice choose(const SearchScene& scene, const std::vector<Candidate>& candidates, const std::vector<Request>& requests) {
  const std::size_t n = candidates.size();
  std::vector<std::vector<char>> clash(n, std::vector<char>(n, 0));
  for (std::size_t a = 0; a < n; ++a)
    for (std::size_t b = a + 1; b < n; ++b)
      clash[a][b] = clash[b][a] = can_stand_together(scene, candidates[a], candidates[b]) ? 0 : 1;

  IntegerProgram program;
  const std::vector<std::size_t> group = hole_groups(scene, candidates);
  std::vector<double> hole_cost(n, 0);
  const auto near_limit = [&](std::size_t c) { return candidates[c].score * near_limit_price(scene, candidates[c].route.direction); };
  for (std::size_t c = 0; c < n; ++c) {
    program.cost.push_back(candidates[c].score - candidates[c].hole_score + near_limit(c));
    hole_cost[group[c]] = std::max(hole_cost[group[c]], candidates[c].hole_score);
  }
  for (std::size_t c = 0; c < n; ++c) {
    if (group[c] == c) program.cost.push_back(hole_cost[c]);
    if (group[c] == c) hole_cost[c] = static_cast<double>(program.cost.size() - 1);   // now the variable's number
  }
  for (std::size_t c = 0; c < n; ++c)
    program.rows.push_back({{{c, 1}, {static_cast<std::size_t>(hole_cost[group[c]]), -1}}, -1, 0});
  add_request_rows(scene, candidates, requests, program);
  for (const auto& clique : clash_cliques(clash)) {
    IntegerProgram::Row row{{}, 0, 1};
    for (const std::size_t c : clique) row.terms.push_back({c, 1});
    program.rows.push_back(std::move(row));
  }

  const IntegerSolution solution = solve(program);
  Choice choice{solution.feasible, solution.proven, solution.cost, {}};
  for (std::size_t c = 0; c < n && solution.feasible; ++c) {
    if (!solution.chosen[c]) continue;
    choice.chosen.push_back(c);
    choice.cost -= near_limit(c);
  }
  return choice;
}

}  // namespace leastharm
