#include "search_dense.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <tuple>
#include <unordered_set>

#include "line_box.h"
#include "line_chances.h"
#include "planner/counter_random.h"
#include "planner/cylinder.h"
#include "planner/entry.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kRadian = 180 / std::numbers::pi;
constexpr double kKeptDeg = 14;       // an entry keeps its best route in each patch of directions this wide
constexpr double kDeepestMm = 24;     // how far beyond the shallowest tip a surer one is looked for

/// One entry in every cell of `spacing_mm`, the one nearest to its middle.
std::vector<EntryVoxel> spread_entries(const std::vector<EntryVoxel>& entries, double spacing_mm) {
  struct Keyed {
    std::array<int, 3> cell;
    double off;
    std::size_t index;
  };
  std::vector<Keyed> keyed(entries.size());
  for (std::size_t e = 0; e < entries.size(); ++e) {
    const Vec3 c = entries[e].point / spacing_mm;
    keyed[e] = {{static_cast<int>(std::floor(c.z())), static_cast<int>(std::floor(c.y())), static_cast<int>(std::floor(c.x()))},
                (c - c.array().floor().matrix() - Vec3::Constant(0.5)).squaredNorm(), e};
  }
  std::ranges::sort(keyed, {}, [](const Keyed& k) { return std::tie(k.cell, k.off, k.index); });
  std::vector<EntryVoxel> chosen;
  for (std::size_t n = 0; n < keyed.size(); ++n)
    if (n == 0 || keyed[n].cell != keyed[n - 1].cell) chosen.push_back(entries[keyed[n].index]);
  return chosen;
}

/// Whether a ray meets a box within `reach`.
bool meets_box(const Vec3& from, const Vec3& direction, const Vec3& low, const Vec3& high, double reach) {
  const auto [enter, leave] = line_in_box(from, direction, low, high);
  return std::max(0.0, enter) <= std::min(reach, leave);
}

bool better(const Route& a, const Route& b) {
  return std::tuple(a.score, a.entry.z(), a.entry.y(), a.entry.x(), a.direction.z(), a.direction.y(), a.direction.x()) <
         std::tuple(b.score, b.entry.z(), b.entry.y(), b.entry.x(), b.direction.z(), b.direction.y(), b.direction.x());
}

/// Those that something of the object stands in front of: they are reached through a hole or between limbs, in narrow cones.
std::vector<EntryVoxel> hidden_entries(const SearchScene& scene, std::size_t ask) {
  const double reach = scene.asks()[ask].needle->usable_mm + kHandLengthMm;
  std::vector<std::uint8_t> hidden(scene.entries().size());
  for_each_chunk(hidden.size(), 256, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const EntryVoxel& entry = scene.entries()[n];
      hidden[n] = !is_open(scene, ask, entry.point, entry.outward, reach);
    }
  });
  std::vector<EntryVoxel> chosen;
  for (std::size_t n = 0; n < hidden.size(); ++n)
    if (hidden[n]) chosen.push_back(scene.entries()[n]);
  return chosen;
}

/// Best routes of one entry that have room, one a patch of directions.
void keep_best(const SearchScene& scene, std::vector<Route>& kept, const Route& route) {
  const double near = std::cos(kKeptDeg / 2 / kRadian);
  const auto alike = std::ranges::find_if(kept, [&](const Route& k) { return k.side == route.side && k.direction.dot(route.direction) > near; });
  if ((alike != kept.end() && !better(route, *alike)) || !has_room(scene, route)) return;
  if (alike == kept.end()) kept.push_back(route);
  else *alike = route;
}

/// The best routes from each entry along these directions.
std::vector<Route> look_from(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const std::vector<EntryVoxel>& entries,
                             const std::vector<Vec3>& directions) {
  const Box& target = scene.target();
  const Vec3 voxel = scene.frame().grid.spacing_mm;
  const Vec3 low = (Vec3(target.low.i, target.low.j, target.low.k) - Vec3::Constant(1)).cwiseProduct(voxel);
  const Vec3 high = (Vec3(target.high.i, target.high.j, target.high.k) + Vec3::Constant(1)).cwiseProduct(voxel);
  const double reach = scene.asks()[ask].needle->usable_mm * limits.length_factor;
  const double square = std::cos(std::min(90.0, limits.angle_deg) / kRadian);
  std::vector<std::vector<Route>> found(entries.size());
  for_each_chunk(entries.size(), 16, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const EntryVoxel& entry = entries[n];
      for (const Vec3& direction : directions) {
        if (-direction.dot(entry.outward) < square || !meets_box(entry.point, direction, low, high, reach) ||
            !is_open(scene, ask, entry.point, -direction, kHandLengthMm))
          continue;
        const Route route = shallowest_without_room(scene, ask, limits, entry.point, entry.outward, direction);
        if (std::isfinite(route.score)) keep_best(scene, found[n], route);
      }
    }
  });
  std::vector<Route> all;
  for (const auto& of_entry : found) all.insert(all.end(), of_entry.begin(), of_entry.end());
  return all;
}

}  // namespace

std::vector<Vec3> direction_set(double tilt_deg, double step_deg) {
  std::vector<Vec3> directions;
  const int rows = static_cast<int>(std::floor(std::min(tilt_deg, 90.0) / step_deg + 1e-9));
  for (int r = -rows; r <= rows; ++r) {
    const double tilt = r * step_deg / kRadian;
    const int count = std::max(1, static_cast<int>(std::lround(360 / step_deg * std::cos(tilt))));
    for (int n = 0; n < count; ++n) {
      const double turn = 2 * std::numbers::pi * (n + (r & 1) * 0.5) / count;
      directions.push_back({std::cos(tilt) * std::cos(turn), std::cos(tilt) * std::sin(turn), std::sin(tilt)});
    }
  }
  return directions;
}

std::vector<Route> dense_search(const SearchScene& scene, std::size_t ask, const RouteLimits& limits,
                                const DenseSpacing& spacing) {
  std::vector<Route> all = look_from(scene, ask, limits, spread_entries(scene.entries(), spacing.entry_mm),
                                     direction_set(limits.tilt_deg, spacing.direction_deg));
  const std::vector<Route> hidden = look_from(scene, ask, limits, spread_entries(hidden_entries(scene, ask), spacing.hidden_entry_mm),
                                              direction_set(limits.tilt_deg, spacing.hidden_direction_deg));
  all.insert(all.end(), hidden.begin(), hidden.end());
  std::ranges::sort(all, better);
  return all;
}

std::vector<Route> thinned(const std::vector<Route>& routes, double apart_mm, double apart_deg, std::size_t most) {
  std::vector<Route> kept;
  const double near = std::cos(apart_deg / kRadian);
  for (const Route& route : routes) {
    if (kept.size() >= most) break;
    const bool alike = std::ranges::any_of(kept, [&](const Route& k) {
      return k.direction.dot(route.direction) > near && (k.tip() - route.tip()).squaredNorm() < apart_mm * apart_mm;
    });
    if (!alike) kept.push_back(route);
  }
  return kept;
}

namespace {

struct Graded {
  Route route;
  double cost = std::numeric_limits<double>::infinity();
};

double lack_of(const SearchScene& scene, double p_enough) { return std::max(0.0, wished_p_enough(scene.file().limits) - p_enough); }

double price_at(const SearchScene& scene, const Route& route, double lack) {
  return route.score * (1 + 3 * lack) * (1 + near_limit_price(scene, route.direction));
}

/// The least depth from `first_mm` on at which the chance is enough; where none within reach has it, the one that has most.
double surest_depth_mm(LineChances& chances, double first_mm, double enough) {
  constexpr double kDeeper_mm = 2, kFinest_mm = 0.2;
  double best_mm = first_mm, most = chances.at(first_mm);
  for (double depth = first_mm; most < enough && depth <= first_mm + kDeepestMm;)
    if (const double p = chances.at(depth += kDeeper_mm); p > most) most = p, best_mm = depth;
  if (most < enough || best_mm == first_mm) return best_mm;
  for (double back = kDeeper_mm / 2; back > kFinest_mm; back /= 2)
    if (chances.at(best_mm - back) >= enough) best_mm -= back;
  return best_mm;
}

/// A route on a line with a sufficient chance of enough, as shallow as may be; where there is none, the chance's lack is priced.
Graded graded(const SearchScene& scene, const RouteLimits& limits, std::size_t ask, const Vec3& near, const Vec3& direction) {
  const auto found = surface_near(scene, ask, near, direction);
  if (!found) return {};
  const Vec3 entry = *found;
  const auto normal_lps = outward_normal(scene.body(), scene.frame().lps(entry));
  const Vec3 outward = normal_lps ? scene.frame().direction(*normal_lps) : Vec3(-direction);
  const Route first = shallowest_route(scene, ask, limits, entry, outward, direction);
  if (!std::isfinite(first.score)) return {};
  LineChances chances(scene, first, first.depth_mm, limits.need_factor);
  const auto grade = [&](const Route& route) { return Graded{route, price_at(scene, route, lack_of(scene, chances.at(route.depth_mm)))}; };
  const Graded shallow = grade(first);
  const double depth = surest_depth_mm(chances, first.depth_mm, wished_p_enough(scene.file().limits));
  if (depth == first.depth_mm) return shallow;
  const double whole_step = 0.999 * route_step_mm(scene);   // up to the next tip a route can have
  const Route deeper = route_to_depth(scene, ask, limits, entry, outward, direction, depth + whole_step);
  if (!std::isfinite(deeper.score)) return shallow;
  const Graded sure = grade(deeper);
  return sure.cost < shallow.cost ? sure : shallow;
}

}  // namespace

double price_of(const SearchScene& scene, const RouteLimits& limits, const Route& route) {
  return price_at(scene, route, lack_of(scene, estimated_p_enough(scene, route, limits.need_factor)));
}

Route refined(const SearchScene& scene, const RouteLimits& limits, const Route& start) {
  Graded best = graded(scene, limits, start.ask, start.entry, start.direction);
  if (!std::isfinite(best.cost)) return start;
  double shift = 2, turn = 3 / kRadian;
  while (shift > 0.2) {
    bool moved = false;
    for (int move = 0; move < 8; ++move) {
      const Vec3 d = best.route.direction, e = best.route.entry;
      const auto sides = across(d);
      const Vec3 way = (move & 1 ? -1.0 : 1.0) * sides[(move >> 1) & 1];
      const bool turns = move >= 4;
      // A turn keeps the tip: the core stays where it is good.
      const Vec3 entry = turns ? Vec3(e + best.route.depth_mm * turn * way) : Vec3(e + shift * way);
      const Vec3 direction = turns ? Vec3((best.route.tip() - entry).normalized()) : d;
      if (!keeps_tilt(direction, limits.tilt_deg)) continue;
      const Graded next = graded(scene, limits, start.ask, entry, direction);
      if (next.cost < best.cost - 1e-9) best = next, moved = true;
    }
    if (!moved) shift /= 2, turn /= 2;
  }
  return best.route;
}

namespace {

/// A line beside a route's: tip and entry moved at random; none where it is no track. `draw` numbers the place.
std::optional<Route> line_beside(const SearchScene& scene, const RouteLimits& limits, const Route& route, std::uint64_t stream, std::uint64_t draw, double far_mm) {
  constexpr double kBehind_mm = 20;   // the surface is found again from behind
  const auto away = [&](std::uint64_t n) { return far_mm * random_normal(1, stream, 4 * draw + n); };
  const auto [e1, e2] = across(route.direction);
  const Vec3 tip = route.tip() + away(0) * e1 + away(1) * e2, aim = route.entry + away(2) * e1 + away(3) * e2;
  const Vec3 direction = (tip - aim).normalized();
  const auto entry = find_entry_point(scene.body(), scene.frame().lps(aim - kBehind_mm * direction), scene.frame().lps(tip));
  if (!entry || !keeps_tilt(direction, limits.tilt_deg)) return std::nullopt;
  Route beside = route;
  beside.entry = scene.frame().point(*entry);
  beside.direction = direction;
  beside.score = std::numeric_limits<double>::infinity();
  return beside;
}

}  // namespace

Route hopped(const SearchScene& scene, const RouteLimits& limits, const Route& start) {
  constexpr std::uint64_t kHops = 12;
  constexpr double kFar_mm = 6;
  Route best = start;
  double price = price_of(scene, limits, best);
  for (std::uint64_t hop = 0; hop < kHops; ++hop) {
    const auto line = line_beside(scene, limits, best, stream_named("hop"), hop, kFar_mm);
    if (!line) continue;
    const Route other = refined(scene, limits, *line);
    if (!std::isfinite(other.score)) continue;
    if (const double p = price_of(scene, limits, other); p < price) best = other, price = p;
  }
  return best;
}

std::optional<Route> descended_beside(const SearchScene& scene, RouteLimits limits, const Route& route, std::size_t number) {
  constexpr double kFar_mm = 3;
  limits.side = route.side;
  const auto line = line_beside(scene, limits, route, stream_named("beside"), number, kFar_mm);
  if (!line) return std::nullopt;
  const Route found = refined(scene, limits, *line);
  return std::isfinite(found.score) ? std::optional(found) : std::nullopt;
}

}  // namespace leastharm
