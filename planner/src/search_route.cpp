#include "search_route.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "planner/counter_random.h"
#include "planner/crossing.h"
#include "planner/cylinder.h"
#include "planner/entry.h"

namespace leastharm {
namespace {

constexpr double kRadian = 180 / std::numbers::pi;
constexpr double kSideMm = 3;   // a core's least distance from the midline to belong to a side

/// How far from where it is looked for an entry may lie.
double near_mm(const SearchScene& scene, const Ask& ask) { return ask.needle->outer_mm / 2 + 2 * scene.frame().grid.spacing_mm.maxCoeff(); }

/// How far behind the entry the needle's hub stands.
double hub_mm(const SearchScene& scene, const Route& route) {
  const Ask& ask = scene.asks()[route.ask];
  return std::max(near_mm(scene, ask), ask.needle->usable_mm - ask.needle->dead_tip_mm - route.depth_mm);
}

bool is_air(const SearchScene& scene, const Vec3& start, const Vec3& direction, double from_mm, double to_mm) {
  const double step = 2 * route_step_mm(scene);
  const MaterialLine materials(scene, start, direction);
  for (double t = from_mm; t < to_mm; t += step)
    if (materials.at(t) != Material::air) return false;
  return true;
}

Route with_room(const SearchScene& scene, Route route) {
  if (std::isfinite(route.score) && !has_room(scene, route)) route.score = std::numeric_limits<double>::infinity();
  return route;
}

/// Runs along a line and finds the tip.
class Walk {
 public:
  Walk(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const Vec3& outward, const Vec3& direction)
      : scene_(scene), ask_(scene.asks()[ask]), limits_(limits), outward_(outward), direction_(direction),
        step_(route_step_mm(scene)) {
    route_.ask = ask;
    route_.direction = direction;
  }

  /// `depth_mm` < 0: the shallowest tip.
  Route to(const Vec3& near, double depth_mm) {
    angle_deg_ = kRadian * std::acos(std::clamp(-direction_.dot(outward_), -1.0, 1.0));
    if (angle_deg_ > limits_.angle_deg || !find_surface(near)) return route_;
    const Needle& needle = *ask_.needle;
    const double longest = needle.usable_mm * limits_.length_factor - needle.dead_tip_mm;
    const int last = static_cast<int>(std::floor((depth_mm < 0 ? longest : std::min(depth_mm, longest)) / step_ + 1e-6));
    const int throw_steps = std::max(1, static_cast<int>(std::lround(needle.throw_mm / step_)));
    const Vec3 from = scene_.in_box(route_.entry) - ask_.core_offset;
    const auto [enters_mm, leaves_mm] = ask_.yield.range(from, direction_);
    if (!(enters_mm < leaves_mm)) return route_;
    const int richer_from = std::max(0, static_cast<int>(std::min<double>(last, enters_mm / step_)));
    const int richer_to = static_cast<int>(std::clamp(std::ceil(leaves_mm / step_), 0.0, static_cast<double>(last)));
    const int end = depth_mm < 0 ? std::min(last, richer_to + throw_steps) : last;   // farther on a core is empty
    const int free = free_steps(end);
    if (depth_mm >= 0 && free < last) return route_;
    yields_.assign(static_cast<std::size_t>(std::max(free, 0)) + 1, 0);
    for (int s = richer_from; s < free; ++s) {
      const auto n = static_cast<std::size_t>(s);
      yields_[n + 1] = yields_[n] + (s < richer_to ? step_ * static_cast<double>(ask_.yield.at(from + (s + 0.5) * step_ * direction_)) : 0);
      if ((depth_mm < 0 || s + 1 == last) && tip_holds(s + 1, throw_steps)) {
        finish(s + 1);
        return route_;
      }
    }
    return route_;
  }

 private:
  /// Of some steps from the entry, those that a needle can go before something is in its way.
  [[nodiscard]] int free_steps(int most) const {
    const MaterialLine materials(scene_, route_.entry, direction_);
    double bone = 0, clear_to = 0;
    for (int s = 0; s < most; ++s) {
      const Material material = materials.at((s + 0.5) * step_);
      if (material == Material::support) return s;
      if (material == Material::bone && (bone += step_) > limits_.bone_mm) return s;
      if (s * step_ < clear_to) continue;
      const double spare = spare_mm(route_.at((s + 0.5) * step_));
      if (spare < 0) return s;
      clear_to = s * step_ + spare;   // a distance changes by no more than the way
    }
    return most;
  }

  bool find_surface(const Vec3& near) {
    const auto found = surface_near(scene_, route_.ask, near, direction_);
    if (found) route_.entry = *found;
    return found.has_value();
  }

  /// How much farther from keep-outs than it must be.
  [[nodiscard]] double spare_mm(const Vec3& p) const {
    return scene_.keep_out_distance_mm(p) - ask_.needle->outer_mm / 2 - scene_.frame().grid.spacing_mm.minCoeff() / 2 - limits_.clearance_mm;
  }

  bool tip_holds(int end, int throw_steps) {
    const auto from = static_cast<std::size_t>(std::max(0, end - throw_steps)), to = static_cast<std::size_t>(end);
    const double core_mm = throw_steps * step_;
    route_.mass_mg = (yields_[to] - yields_[from]) * ask_.needle->throw_mm / core_mm;
    if (route_.mass_mg < ask_.need_mg * limits_.need_factor) return false;
    const double tip = end * step_, start = tip - ask_.needle->throw_mm;
    return keeps_side(start, tip) && keeps_margin(start, tip) && dead_tip_clear(tip);
  }

  [[nodiscard]] bool keeps_margin(double start, double tip) const {
    if (!(limits_.margin_mm > 0)) return true;
    for (double t = start; t <= tip + 1e-9; t += step_)
      if (ask_.depth_inside.at(scene_.in_box(route_.at(t)) - ask_.core_offset) < limits_.margin_mm + ask_.needle->bore_mm / 2) return false;
    return true;
  }

  bool keeps_side(double start, double tip) {
    const auto a = scene_.left_mm(route_.at(start)), b = scene_.left_mm(route_.at(tip)),
               middle = scene_.left_mm(route_.at((start + tip) / 2));
    if (!a) return limits_.side == 0;
    const double off = kSideMm + ask_.needle->bore_mm / 2, least = std::min({*a, *b, *middle}), most = std::max({*a, *b, *middle});
    route_.side = least >= off ? 1 : most <= -off ? -1 : 0;
    return limits_.side == 0 || (limits_.side == kEitherSide ? route_.side != 0 : route_.side == limits_.side);
  }

  [[nodiscard]] bool dead_tip_clear(double tip) const {
    for (double t = tip; t < tip + ask_.needle->dead_tip_mm; t += step_) {
      const Material m = scene_.material_at(route_.at(t));
      if (spare_mm(route_.at(t)) < 0 || m == Material::support || (m == Material::bone && limits_.bone_mm <= 0)) return false;
    }
    return true;
  }

  /// The cost is summed last: most lines never get so far, and its field is the largest.
  void finish(int end) {
    const Needle& needle = *ask_.needle;
    route_.depth_mm = end * step_;
    double cost = 0;
    for (int s = 0; s < end; ++s) cost += step_ * static_cast<double>(ask_.cost->at(scene_.in_box(route_.at((s + 0.5) * step_))));
    for (double t = 0.5 * step_; t < needle.dead_tip_mm; t += step_)
      cost += step_ * static_cast<double>(ask_.cost->at(scene_.in_box(route_.at(route_.depth_mm + t))));
    const double area = std::numbers::pi / 4 * needle.outer_mm * needle.outer_mm;
    const VoxelIndex voxel = scene_.frame().voxel(route_.at(0.01));
    double hole = through_opening(voxel) ? 0 : scene_.file().weights.hole_mm;
    for (const Mark& mark : scene_.body().marks)
      if (mark.kind == MarkKind::zone && mark.mask.contains(voxel)) hole += mark.weight_mm;
    route_.score = area * (cost + hole / std::cos(angle_deg_ / kRadian));
  }

  /// Whether the needle comes through an opening: at its entry, or on the way there.
  [[nodiscard]] bool through_opening(const VoxelIndex& first) const {
    const double end = hub_mm(scene_, route_) + kHandLengthMm;
    return std::ranges::any_of(scene_.body().marks, [&](const Mark& mark) {
      if (mark.kind != MarkKind::opening) return false;
      if (mark.mask.contains(first)) return true;
      for (double t = near_mm(scene_, ask_); t < end; t += 2 * step_)
        if (mark.mask.contains(scene_.frame().voxel(route_.at(-t)))) return true;
      return false;
    });
  }

  const SearchScene& scene_;
  const Ask& ask_;
  const RouteLimits& limits_;
  Vec3 outward_, direction_;
  double step_, angle_deg_ = 0;
  Route route_;
  static thread_local std::vector<double> yields_;
};

thread_local std::vector<double> Walk::yields_;

}  // namespace

double route_step_mm(const SearchScene& scene) { return std::min(1.0, scene.frame().grid.spacing_mm.minCoeff()); }

bool keeps_tilt(const Vec3& direction, double tilt_deg) {
  return std::abs(direction.z()) <= std::sin(std::min(90.0, tilt_deg) / kRadian) + 1e-12;
}

double near_limit_price(const SearchScene& scene, const Vec3& direction) {
  constexpr double kReserveDeg = 2, kRampDeg = 0.5, kPrice = 0.03;
  const double limit = scene.file().limits.tilt_deg;
  if (limit >= 90) return 0;   // no tilt is over it
  const double tilt = kRadian * std::asin(std::min(1.0, std::abs(direction.z())));
  return kPrice * std::clamp((tilt - (limit - kReserveDeg)) / kRampDeg, 0.0, 1.0);
}

std::optional<Vec3> surface_near(const SearchScene& scene, std::size_t ask, const Vec3& near, const Vec3& direction) {
  const double reach = near_mm(scene, scene.asks()[ask]), step = 0.25 * route_step_mm(scene);
  const MaterialLine materials(scene, near, direction);
  for (double t = -reach; t < reach; t += step)
    if (is_object(materials.at(t))) return near + t * direction;
  return std::nullopt;
}

bool is_open(const SearchScene& scene, std::size_t ask, const Vec3& entry, const Vec3& outwards, double reach_mm) {
  return is_air(scene, entry, outwards, near_mm(scene, scene.asks()[ask]), reach_mm);
}

Route shallowest_route(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const Vec3& entry,
                       const Vec3& outward, const Vec3& direction) {
  return with_room(scene, shallowest_without_room(scene, ask, limits, entry, outward, direction));
}

Route shallowest_without_room(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const Vec3& entry,
                              const Vec3& outward, const Vec3& direction) {
  return Walk(scene, ask, limits, outward, direction).to(entry, -1);
}

bool has_room(const SearchScene& scene, const Route& route) {
  const Ask& ask = scene.asks()[route.ask];
  const double behind = near_mm(scene, ask), hub = hub_mm(scene, route);
  if (!is_open(scene, route.ask, route.entry, -route.direction, hub + kHandLengthMm)) return false;
  const auto [e1, e2] = across(route.direction);
  constexpr int kLines = 16;
  constexpr double kSpareMm = 3, kShaftSpareMm = 1;   // so that the day's CT, a little off, still finds the room
  for (int n = 0; n < kLines; ++n) {
    const double angle = 2 * std::numbers::pi * n / kLines;
    const Vec3 out = std::cos(angle) * e1 + std::sin(angle) * e2;
    const auto is_free = [&](double aside, double from, double to) {
      return is_air(scene, route.entry + aside * out, -route.direction, from, to);
    };
    if (!is_free(ask.needle->outer_mm / 2 + kShaftSpareMm, behind, hub) ||
        !is_free(kHandRadiusMm + kSpareMm, std::max(behind, hub - kSpareMm), hub + kHandLengthMm))
      return false;
  }
  return true;
}

Route route_to_depth(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const Vec3& entry,
                     const Vec3& outward, const Vec3& direction, double depth_mm) {
  return with_room(scene, Walk(scene, ask, limits, outward, direction).to(entry, depth_mm));
}

double wished_p_enough(const Limits& limits) {
  constexpr double kDrawn = 0.005;   // a standard error of as many independent draws as are made (kMassDraws)
  return std::min(0.995, limits.p_enough_min + kDrawn);
}

Track track_of(const SearchScene& scene, const Route& route) {
  const Ask& ask = scene.asks()[route.ask];
  Track track;
  track.entry_lps_mm = scene.frame().lps(route.at(-1));   // just outside: the surface is found again from there
  track.tip_lps_mm = scene.frame().lps(route.tip());
  track.needle = *ask.needle;
  track.request = ask.request->id;
  return track;
}

}  // namespace leastharm
