#include "search_blocking.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "search_dense.h"
#include "planner/text.h"

namespace leastharm {
namespace {

constexpr DenseSpacing kCoarse{10, 10};

/// One way to relax a limit, and how to read off what it would take.
struct Relaxation {
  std::string constraint, unit;
  double needed;
  std::function<void(RouteLimits&, double)> relax;
  std::vector<double> steps;   ///< from mild to entire
  std::string remedy;
};

std::vector<Relaxation> relaxations(const Ask& ask, const Limits& limits) {
  std::vector<Relaxation> all;
  all.push_back({"entry_angle_deg", "deg", limits.entry_angle_deg, [](RouteLimits& l, double v) { l.angle_deg = v; },
                 {limits.entry_angle_deg + 5, limits.entry_angle_deg + 10, limits.entry_angle_deg + 20, 80},
                 "a larger entry_angle_deg"});
  all.push_back({"tilt_deg", "deg", limits.tilt_deg, [](RouteLimits& l, double v) { l.tilt_deg = v; },
                 {limits.tilt_deg + 10, limits.tilt_deg + 20, limits.tilt_deg + 40, 90}, "a larger tilt_deg"});
  all.push_back({"clearance_mm", "mm", limits.clearance_mm, [](RouteLimits& l, double v) { l.clearance_mm = v; },
                 {limits.clearance_mm * 0.8, limits.clearance_mm * 0.6, limits.clearance_mm * 0.3, 0, -100},
                 "a smaller clearance_mm, or a keep-out waived by a named person"});
  all.push_back({"margin_mm", "mm", limits.margin_mm, [](RouteLimits& l, double v) { l.margin_mm = v; },
                 {limits.margin_mm * 0.5, 0}, "a smaller margin_mm"});
  all.push_back({"bone_mm", "mm", limits.bone_mm, [](RouteLimits& l, double v) { l.bone_mm = v; },
                 {limits.bone_mm + 2, limits.bone_mm + 5, limits.bone_mm + 15, 1000}, "a larger bone_mm"});
  const double usable = ask.needle->usable_mm;
  all.push_back({"usable_mm", "mm", usable, [usable](RouteLimits& l, double v) { l.length_factor = v / usable; },
                 {usable + 20, usable + 50, usable + 100, usable * 3}, "a needle of greater usable length"});
  std::erase_if(all, [](const Relaxation& r) { return r.constraint == "margin_mm" && !(r.needed > 0); });
  return all;
}

/// The mildest relaxation of one limit that opens a way for one needle.
std::optional<double> mildest(const SearchScene& scene, std::size_t ask, int side, const Relaxation& relaxation) {
  const auto routes_at = [&](double value) {
    RouteLimits limits(scene.file().limits);
    limits.side = side;
    relaxation.relax(limits, value);
    return dense_search(scene, ask, limits, kCoarse);
  };
  if (routes_at(relaxation.steps.back()).empty()) return std::nullopt;
  for (const double value : relaxation.steps) {
    if (routes_at(value).empty()) continue;
    return value;
  }
  return std::nullopt;
}

/// The richest core that keeps every other limit: the need is lowered until a way opens.
std::optional<TrackAssessment> richest(const SearchScene& scene, const Assessor& assessor, std::size_t ask, int side) {
  constexpr double kLeast = 1e-3;
  constexpr int kHalvings = 7;   // of a range of 1000 in the need: within 6 %; the core itself is then assessed exactly
  std::optional<Route> best;
  double low = kLeast, high = 1;
  const auto try_factor = [&](double factor) {
    RouteLimits limits(scene.file().limits);
    limits.side = side;
    limits.need_factor = factor;
    const std::vector<Route> routes = dense_search(scene, ask, limits, kCoarse);
    if (routes.empty()) return false;
    const Route& richest_route = std::ranges::max(routes, {}, &Route::mass_mg);
    if (!best || richest_route.mass_mg > best->mass_mg) best = richest_route;
    return true;
  };
  if (!(scene.asks()[ask].need_mg > 0) || !try_factor(kLeast)) return std::nullopt;
  for (int n = 0; n < kHalvings; ++n) {
    const double middle = std::sqrt(low * high);
    (try_factor(middle) ? low : high) = middle;
  }
  return assessor.assess_track(track_of(scene, *best));
}

/// What would bring the mass, each remedy with its price.
std::string mass_remedy(const Needle& needle, double need_mg, double found_mg) {
  const double factor = need_mg / found_mg;
  return "smallest remedies: a throw of " + fixed(needle.throw_mm * factor, 1) + " mm instead of " + brief(needle.throw_mm) +
         " mm, or a bore of " + fixed(needle.bore_mm * std::sqrt(factor), 2) + " mm instead of " + brief(needle.bore_mm) +
         " mm, or " + std::to_string(static_cast<int>(std::ceil(factor))) + " pooled cores for one (as many holes more, or a fan), or a need of at most " +
         fixed(found_mg, 1) + " mg; chances still to be met";
}

std::string name_of_needle(const Needle& needle) {
  return needle.name.empty() ? "the needle of " + brief(needle.outer_mm) + " mm" : needle.name;
}

std::string side_words(int side) { return side > 0 ? " on the left" : side < 0 ? " on the right" : ""; }

std::optional<Blocking> blocking_mass(const SearchScene& scene, const Assessor& assessor, const Request& request, int side) {
  std::optional<Blocking> best;
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    const Ask& ask = scene.asks()[a];
    if (ask.request != &request) continue;
    const auto core = richest(scene, assessor, a, side);
    if (!core || (best && core->core.mass_mg <= best->best_found)) continue;
    best = Blocking{request.id, "mass", ask.need_mg, core->core.mass_mg, "mg",
                    "with " + name_of_needle(*ask.needle) + side_words(side) + "; " +
                        mass_remedy(*ask.needle, ask.need_mg, core->core.mass_mg)};
  }
  return best;
}

/// Limits whose relaxation alone opens a way, each with its mildest value over the needles.
std::vector<Blocking> blocking_limits(const SearchScene& scene, const Request& request, int side) {
  std::vector<Blocking> found;
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    const Ask& ask = scene.asks()[a];
    if (ask.request != &request) continue;
    for (const Relaxation& relaxation : relaxations(ask, scene.file().limits)) {
      const auto value = mildest(scene, a, side, relaxation);
      if (!value) continue;
      const Blocking blocking{request.id, relaxation.constraint, relaxation.needed, *value, relaxation.unit,
                              relaxation.remedy + " (with " + name_of_needle(*ask.needle) + side_words(side) + ")"};
      const auto same = std::ranges::find(found, blocking.constraint, &Blocking::constraint);
      if (same == found.end())
        found.push_back(blocking);
      else if (std::abs(blocking.best_found - blocking.needed) < std::abs(same->best_found - same->needed))
        *same = blocking;
    }
  }
  return found;
}

std::vector<Blocking> blocking_of(const SearchScene& scene, const Assessor& assessor, const Request& request, int side) {
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    RouteLimits limits(scene.file().limits);
    limits.side = side;
    if (scene.asks()[a].request == &request && !dense_search(scene, a, limits, kCoarse).empty()) return {};
  }
  std::vector<Blocking> found = blocking_limits(scene, request, side);
  if (const auto mass = blocking_mass(scene, assessor, request, side)) found.insert(found.begin(), *mass);
  if (found.empty())
    found.push_back({request.id, "reach", 1, 0, "tracks",
                     "no way keeps the other limits" + side_words(side) + ": mark what is requested elsewhere, or relax several limits together"});
  return found;
}

/// What keeps tracks that meet the quick limits from being admissible: the best of each chance.
std::vector<Blocking> blocking_chances(const SearchScene& scene, const Request& request,
                                       const std::vector<TrackAssessment>& tried) {
  double best_enough = 0, least_touch = 1;
  std::string touched;
  for (const TrackAssessment& a : tried) {
    if (a.track.request != request.id) continue;
    best_enough = std::max(best_enough, a.core.p_enough.value_or(0));
    double worst = 0;
    std::string name;
    for (const auto& [keep_out, p] : a.p_touch)
      if (p > worst) worst = p, name = keep_out;
    if (worst < least_touch) least_touch = worst, touched = name;
  }
  std::vector<Blocking> found;
  const Limits& limits = scene.file().limits;
  if (best_enough < limits.p_enough_min)
    found.push_back({request.id, "p_enough_min", limits.p_enough_min, best_enough, "probability",
                     "a wider bore, a longer throw, two cores for one, less mass, or surer placement"});
  if (least_touch > limits.p_touch_max)
    found.push_back({request.id, "p_touch_max " + touched, limits.p_touch_max, least_touch, "probability",
                     "surer placement, or a keep-out waived by a named person"});
  return found;
}

}  // namespace

std::vector<Blocking> find_blocking(const SearchScene& scene, const Assessor& assessor,
                                    const std::vector<TrackAssessment>& tried,
                                    std::size_t admissible) {
  std::vector<Blocking> all;
  for (const Request& request : scene.file().requests) {
    std::vector<Blocking> found;
    for (const int side : request.sides == Sides::both    ? std::vector<int>{1, -1}
                          : request.sides == Sides::left  ? std::vector<int>{1}
                          : request.sides == Sides::right ? std::vector<int>{-1}
                                                          : std::vector<int>{0}) {
      const std::vector<Blocking> of_side = blocking_of(scene, assessor, request, side);
      found.insert(found.end(), of_side.begin(), of_side.end());
    }
    if (found.empty()) found = blocking_chances(scene, request, tried);
    all.insert(all.end(), found.begin(), found.end());
  }
  if (all.empty())
    all.push_back({scene.file().requests.front().id, "replicates", static_cast<double>(scene.file().requests.front().replicates),
                   static_cast<double>(admissible), "tracks that can stand together",
                   "fewer replicates, a smaller spacing_mm or hole_spacing_mm"});
  return all;
}

}  // namespace leastharm
