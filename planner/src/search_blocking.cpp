#include "search_blocking.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "candidates.h"
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

/// The mass that a core yields with the chance that is asked for, mg.
double sure_mg(const SearchScene& scene, const Assessor& assessor, const TrackAssessment& a) {
  const MassDraws draws = draw_masses(assessor.mass_model(a.track.request), assessor.region_of(a.track.request), a.track,
                                      scene.file().placement, 1);
  return quantile_of(draws.requested_mg, 1 - scene.file().limits.p_enough_min);
}

struct Remedy {
  double score;
  std::string what;
};

/// What would bring the need from the best core found, each with its price in score, the cheapest first. The score
/// grows with the needle's section and with the depth that a longer core needs.
std::vector<Remedy> mass_remedies(const SearchScene& scene, const TrackAssessment& best, double need_mg, double sure) {
  const Needle& needle = best.track.needle;
  const double factor = need_mg / sure, score = best.damage.score;
  const double wall = needle.outer_mm - needle.bore_mm, bore = std::ceil(10 * needle.bore_mm * std::sqrt(factor)) / 10;
  constexpr double kSpare = 1.03;   // what lies higher up the core errs a little more
  const double longer = std::ceil(needle.throw_mm * factor * kSpare);
  const Request& request = *std::ranges::find(scene.file().requests, best.track.request, &Request::id);
  const Material material = request.material.value_or(Material::packing);
  const double per_mm = std::numbers::pi / 4 * needle.outer_mm * needle.outer_mm *
                        scene.file().weights.material[static_cast<std::size_t>(material)];
  const int cores = static_cast<int>(std::ceil(factor));
  std::vector<Remedy> remedies{
      {score * std::pow((bore + wall) / needle.outer_mm, 2),
       "a bore of " + fixed(bore) + " mm in place of " + brief(needle.bore_mm) + " mm"},
      {score * cores, std::to_string(cores) + " pooled cores for one (as many holes, or a fan through one)"}};
  if (longer + needle.dead_tip_mm <= needle.usable_mm)
    remedies.push_back({score + (longer - needle.throw_mm) * per_mm,
                        "a throw of " + fixed(longer, 0) + " mm in place of " + brief(needle.throw_mm) +
                            " mm, where the material reaches so deep"});
  std::ranges::stable_sort(remedies, {}, &Remedy::score);
  return remedies;
}

std::string mass_remedy(const SearchScene& scene, const Assessor& assessor, const TrackAssessment& best, double need_mg) {
  const double sure = sure_mg(scene, assessor, best);
  const std::string chance = brief(100 * scene.file().limits.p_enough_min) + " %";
  if (!(sure > 0)) return "no core yields anything with a chance of " + chance + ": surer placement, or another place";
  std::string text = "such a core yields " + fixed(sure) + " mg with a chance of " + chance + " (score " +
                     fixed(best.damage.score) + "); ";
  if (sure < need_mg) {
    text += "smallest remedy: ";
    for (const Remedy& remedy : mass_remedies(scene, best, need_mg, sure))
      text += remedy.what + " (score about " + fixed(remedy.score) + "); or ";
  }
  return text + "a need of at most " + fixed(std::floor(10 * sure) / 10) + " mg (score as it is)";
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
                        mass_remedy(scene, assessor, *core, ask.need_mg)};
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

/// The keep-out most likely touched, and how likely.
std::pair<std::string, double> worst_touch(const TrackAssessment& a) {
  std::pair<std::string, double> worst{"", 0};
  for (const auto& [keep_out, p] : a.p_touch)
    if (p > worst.second) worst = {keep_out, p};
  return worst;
}

/// What keeps tracks that meet the quick limits from being admissible: the best of each chance.
std::vector<Blocking> blocking_chances(const SearchScene& scene, const Assessor& assessor, const Request& request,
                                       const std::vector<TrackAssessment>& tried) {
  const TrackAssessment *surest = nullptr, *farthest = nullptr;
  for (const TrackAssessment& a : tried) {
    if (a.track.request != request.id) continue;
    if (surest == nullptr || a.core.p_enough.value_or(0) > surest->core.p_enough.value_or(0)) surest = &a;
    if (farthest == nullptr || worst_touch(a).second < worst_touch(*farthest).second) farthest = &a;
  }
  std::vector<Blocking> found;
  if (surest == nullptr) return found;
  const Limits& limits = scene.file().limits;
  if (const double p = surest->core.p_enough.value_or(0); p < limits.p_enough_min)
    found.push_back({request.id, "p_enough_min", limits.p_enough_min, p, "probability",
                     mass_remedy(scene, assessor, *surest, assessor.need_of_one_mg(request.id))});
  if (const auto [name, p] = worst_touch(*farthest); p > limits.p_touch_max)
    found.push_back({request.id, "p_touch_max " + name, limits.p_touch_max, p, "probability",
                     "surer placement, or a keep-out waived by a named person"});
  return found;
}

/// Each request with as many cores as can stand together at most, one request at a time.
std::vector<Blocking> blocking_together(const SearchScene& scene, const std::vector<Candidate>& admissible) {
  std::vector<Blocking> found;
  for (std::size_t r = 0; r < scene.file().requests.size(); ++r) {
    std::vector<Request> requests = scene.file().requests;
    const int wanted = requests[r].replicates;
    while (requests[r].replicates > 0 && !choose(scene, admissible, requests).feasible) --requests[r].replicates;
    if (requests[r].replicates == wanted) continue;
    found.push_back({requests[r].id, "replicates", static_cast<double>(wanted), static_cast<double>(requests[r].replicates),
                     "cores that can stand together",
                     "fewer replicates, a smaller spacing_mm (now " + brief(requests[r].spacing_mm) +
                         " mm) or hole_spacing_mm (now " + brief(scene.file().limits.hole_spacing_mm) + " mm)"});
  }
  return found;
}

/// No core can hold the need whatever its place: the bore filled with the densest requested voxel would be too little.
/// Where the limit asks for well over an even chance, what is uncertain beside the place (all with the nominal mass as
/// its middle) does not help.
bool mass_is_out_of_reach(const SearchScene& scene, const Request& request) {
  constexpr double kSureLimit = 0.6, kMargin = 1.03;
  if (scene.file().limits.p_enough_min < kSureLimit) return false;
  Vec3 offset;
  const Volume<float> density = scene.requested_density(request, offset);
  const double densest = static_cast<double>(*std::ranges::max_element(density.values));
  return std::ranges::all_of(scene.asks(), [&](const Ask& ask) {
    const double recovery = (ask.needle->recovery_p05 + ask.needle->recovery_p95) / 2;
    return ask.request->id != request.id || kMargin * densest * recovery * ask.needle->bore_volume_mm3() < ask.need_mg;
  });
}

}  // namespace

WhyNot find_blocking(const SearchScene& scene, const Assessor& assessor, const std::vector<TrackAssessment>& tried,
                     const std::vector<Candidate>& admissible) {
  WhyNot why;
  for (const Request& request : scene.file().requests) {
    std::vector<Blocking> found;
    for (const int side : sides_of(request.sides)) {
      const std::vector<Blocking> of_side = blocking_of(scene, assessor, request, side);
      found.insert(found.end(), of_side.begin(), of_side.end());
    }
    why.proven |= mass_is_out_of_reach(scene, request);
    if (found.empty()) found = blocking_chances(scene, assessor, request, tried);
    why.blocking.insert(why.blocking.end(), found.begin(), found.end());
  }
  if (why.blocking.empty()) why.blocking = blocking_together(scene, admissible);
  return why;
}

}  // namespace leastharm
