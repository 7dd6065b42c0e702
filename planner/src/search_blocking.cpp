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
  all.push_back({"mass", "mg", ask.need_mg, [&ask](RouteLimits& l, double v) { l.need_factor = v / ask.need_mg; },
                 {ask.need_mg * 0.95, ask.need_mg * 0.9, ask.need_mg * 0.8, ask.need_mg * 0.7, ask.need_mg * 0.5,
                  ask.need_mg * 0.25, ask.need_mg * 0.1},
                 "a wider bore, a longer throw, two cores for one, or less mass"});
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
  std::erase_if(all, [](const Relaxation& r) { return r.constraint == "mass" && !(r.needed > 0); });
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
    const std::vector<Route> routes = routes_at(value);
    if (routes.empty()) continue;
    return relaxation.constraint == "mass" ? std::ranges::max(routes, {}, &Route::mass_mg).mass_mg : value;
  }
  return std::nullopt;
}

std::string side_name(int side) { return side > 0 ? " on the left" : side < 0 ? " on the right" : ""; }

std::vector<Blocking> blocking_of(const SearchScene& scene, const Request& request, int side) {
  std::vector<Blocking> found;
  for (std::size_t a = 0; a < scene.asks().size(); ++a) {
    if (scene.asks()[a].request != &request) continue;
    RouteLimits limits(scene.file().limits);
    limits.side = side;
    if (!dense_search(scene, a, limits, kCoarse).empty()) return {};   // this needle finds ways
    for (const Relaxation& relaxation : relaxations(scene.asks()[a], scene.file().limits))
      if (const auto value = mildest(scene, a, side, relaxation))
        found.push_back({request.id, relaxation.constraint + side_name(side), relaxation.needed, *value, relaxation.unit,
                         relaxation.remedy + " (with " +
                             (scene.asks()[a].needle->name.empty() ? "the needle of " + brief(scene.asks()[a].needle->outer_mm) + " mm"
                                                                   : scene.asks()[a].needle->name) +
                             ")"});
  }
  if (found.empty())
    found.push_back({request.id, "reach" + side_name(side), 1, 0, "tracks",
                     "mark what is requested elsewhere, or relax several limits together"});
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

std::vector<Blocking> find_blocking(const SearchScene& scene, const std::vector<TrackAssessment>& tried,
                                    std::size_t admissible) {
  std::vector<Blocking> all;
  for (const Request& request : scene.file().requests) {
    std::vector<Blocking> found;
    for (const int side : request.sides == Sides::both    ? std::vector<int>{1, -1}
                          : request.sides == Sides::left  ? std::vector<int>{1}
                          : request.sides == Sides::right ? std::vector<int>{-1}
                                                          : std::vector<int>{0}) {
      const std::vector<Blocking> of_side = blocking_of(scene, request, side);
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
