// Tries to beat proposals and to get below their bounds: random tracks, and descents from the proposal's own.
//   beat_table [--tracks N] [--descents N] [BODY...]
// Prints a table in Markdown. On each body also with a wide needle and on voxels half as large again.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <iostream>
#include <numbers>
#include <random>

#include "candidates.h"
#include "planner/crossing.h"
#include "planner/text.h"
#include "search_dense.h"
#include "support/drawn_back.h"
#include "support/phantom_case.h"
#include "workers.h"

namespace leastharm {
namespace {

struct Trial {
  std::string name;
  Needle needle;
  double coarser = 1;   ///< of the body's own voxels
};

struct Effort {
  std::size_t tracks = 1'000'000, descents = 200;
};

/// Quick figures of random lines into the object until so many yield enough; the cheapest few of them.
std::vector<Route> random_routes(const SearchScene& scene, std::size_t count, std::size_t keep) {
  constexpr std::size_t kChunk = 10'000;
  const RouteLimits limits(scene.file().limits);
  const std::size_t chunks = (count + kChunk - 1) / kChunk;
  std::vector<std::vector<Route>> best(chunks);
  for_each_chunk(chunks, 1, [&](std::size_t c, std::size_t) {
    std::mt19937 random(static_cast<unsigned>(c));
    std::uniform_real_distribution<double> even(0, 1);
    std::normal_distribution<double> normal;
    for (std::size_t found = 0; found < kChunk;) {
      const EntryVoxel& entry = scene.entries()[static_cast<std::size_t>(even(random) * static_cast<double>(scene.entries().size()))];
      const Vec3 direction = (-entry.outward + 0.5 * Vec3(normal(random), normal(random), normal(random))).normalized();
      const Vec3 near = entry.point + Vec3(even(random) - 0.5, even(random) - 0.5, even(random) - 0.5).cwiseProduct(scene.frame().grid.spacing_mm);
      const Route route = shallowest_route(scene, 0, limits, near, entry.outward, direction);
      if (!std::isfinite(route.score)) continue;
      ++found;
      best[c].push_back(route);
      if (best[c].size() < 6 * keep) continue;
      std::ranges::nth_element(best[c], best[c].begin() + static_cast<std::ptrdiff_t>(2 * keep), {}, &Route::score);
      best[c].resize(2 * keep);
    }
  });
  std::vector<Route> all;
  for (const std::vector<Route>& some : best) all.insert(all.end(), some.begin(), some.end());
  std::ranges::stable_sort(all, {}, &Route::score);
  all.resize(std::min(all.size(), 20 * keep));
  // The cheapest of all are seldom sure enough: those that are go first.
  std::vector<std::pair<double, std::size_t>> prices(all.size());
  for_each_chunk(all.size(), 64, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) prices[n] = {price_of(scene, limits, all[n]), n};
  });
  std::ranges::sort(prices);
  std::vector<Route> best_of_all;
  for (std::size_t n = 0; n < std::min(prices.size(), keep); ++n) best_of_all.push_back(all[prices[n].second]);
  return best_of_all;
}

/// From places and directions a little beside a route's.
std::vector<Route> descents_from(const SearchScene& scene, const Route& start, std::size_t count) {
  const RouteLimits limits(scene.file().limits);
  std::vector<Route> routes(count);
  for_each_chunk(count, 1, [&](std::size_t n, std::size_t) {
    std::mt19937 random(static_cast<unsigned>(n));
    std::normal_distribution<double> normal;
    const Vec3 direction = (start.direction + 0.06 * Vec3(normal(random), normal(random), normal(random))).normalized();
    const Vec3 near = start.entry + 5 * Vec3(normal(random), normal(random), normal(random));
    const auto outward = outward_normal(scene.body(), scene.frame().lps(near));
    if (!outward) return;
    const Route route = shallowest_route(scene, start.ask, limits, near, scene.frame().direction(*outward), direction);
    if (std::isfinite(route.score)) routes[n] = refined(scene, limits, route);
  });
  std::erase_if(routes, [](const Route& r) { return !std::isfinite(r.score); });
  return routes;
}

struct Least {
  std::size_t looked_at = 0;     ///< with full figures, admissible
  double kept = 1e9, drawn_back = 1e9;   ///< with what plans keep to spare; at the limits themselves
};

Least least_of(const SearchScene& scene, const Assessor& assessor, const std::vector<Route>& routes) {
  std::vector<std::optional<std::pair<double, double>>> scores(routes.size());
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) {
    TrackAssessment a = assessed(scene, assessor, routes[n], true).assessment;
    if (!a.admissible) return;
    const double kept = a.damage.score;
    scores[n] = {kept, test::drawn_back(assessor, std::move(a)).damage.score};
  });
  Least least;
  for (const auto& s : scores)
    if (s) ++least.looked_at, least.kept = std::min(least.kept, s->first), least.drawn_back = std::min(least.drawn_back, s->second);
  return least;
}

void tell(const std::string& name, const Trial& trial, const Effort& effort) {
  phantom::PhantomOptions options;
  if (trial.coarser != 1) options.spacing_mm = trial.coarser * phantom::make_phantom(name).hu.grid.spacing_mm;
  const phantom::Phantom made = phantom::make_phantom(name, options);
  const Body body = test::body_of(made);
  RequestFile file = test::one_core(trial.needle);
  file.time_s = 600;   // whatever else the machine does
  const Proposal proposal = propose(body, file);
  std::cout << "| " << name << ", " << trial.name << " | ";
  if (!proposal.feasible) {
    std::cout << "no admissible track |\n";
    return;
  }
  const Assessor assessor(body, file);
  const SearchScene scene(body, file);
  constexpr std::size_t kLookedAt = 200;
  const Least random = least_of(scene, assessor, random_routes(scene, effort.tracks, kLookedAt));
  Route start;
  const Track& track = proposal.assessment.tracks[0].track;
  start.entry = scene.frame().point(track.entry_lps_mm);
  start.direction = scene.frame().direction(axis_of(track));
  const Least descents = least_of(scene, assessor, descents_from(scene, start, effort.descents));
  const double score = proposal.assessment.programme.score, bound = proposal.certificate.lower_bound;
  const auto share = [](double value, double of) { return value < 1e9 ? fixed(value / of, 3) : std::string("–"); };
  std::cout << fixed(score, 1) << " | " << fixed(bound, 1) << " | " << effort.tracks << ", " << random.looked_at << " | " << share(random.kept, score)
            << " | " << share(random.drawn_back, bound) << " | " << descents.looked_at << " | " << share(descents.kept, score) << " | "
            << share(descents.drawn_back, bound) << " |\n"
            << std::flush;
}

int run(int argc, char** argv) {
  Effort effort;
  std::vector<std::string> names{"adult", "child", "animal", "sand-packed"};
  CLI::App app("Tries to beat proposals and to get below their bounds");
  app.add_option("bodies", names, "names of invented bodies");
  app.add_option("--tracks", effort.tracks, "random tracks that yield enough");
  app.add_option("--descents", effort.descents, "from beside the proposal");
  CLI11_PARSE(app, argc, argv);
  const Needle usual = test::usual_needle();
  const Needle wide{.name = "wide", .outer_mm = 4.2, .bore_mm = 3.4, .throw_mm = 20, .usable_mm = 150};
  std::cout << "| body, trial | score | bound | random tracks, of these with full figures | their least, of the score | drawn back to the limits, of the bound | "
               "descents | their least, of the score | drawn back, of the bound |\n|---|---|---|---|---|---|---|---|---|\n";
  for (const std::string& name : names)
    for (const Trial& trial : {Trial{"usual needle", usual}, Trial{"wide needle", wide}, Trial{"coarser voxels", usual, 1.5}}) tell(name, trial, effort);
  return 0;
}

}  // namespace
}  // namespace leastharm

int main(int argc, char** argv) { return leastharm::run(argc, argv); }
