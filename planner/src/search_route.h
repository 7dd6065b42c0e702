#pragma once

#include <cstdint>
#include <limits>
#include <optional>

#include "planner/assess.h"
#include "search_scene.h"

namespace leastharm {

/// A track as the search sees it: in the scene's frame, with quick figures from fields. `assess` has the last word.
struct Route {
  std::size_t ask = 0;               ///< index into the scene's asks
  Vec3 entry{0, 0, 0}, direction{0, 0, 1};
  double depth_mm = 0;               ///< entry to tip
  double score = std::numeric_limits<double>::infinity();
  double mass_mg = 0;                ///< recovered, at the middle of the recovery range
  int side = 0;                      ///< +1 the core lies on the object's left, -1 right, 0 neither or not known

  [[nodiscard]] Vec3 at(double depth) const { return entry + depth * direction; }
  [[nodiscard]] Vec3 tip() const { return at(depth_mm); }
  [[nodiscard]] Vec3 core_start(const SearchScene& scene) const {
    return at(depth_mm - scene.asks()[ask].needle->throw_mm);
  }
};

/// A core must lie on the left or on the right, no matter which.
inline constexpr int kEitherSide = 2;

/// What a route must keep to; a copy of the limits that may be relaxed to find out what blocks.
struct RouteLimits {
  explicit RouteLimits(const Limits& limits)
      : angle_deg(limits.entry_angle_deg), clearance_mm(limits.clearance_mm), tilt_deg(limits.tilt_deg),
        margin_mm(limits.margin_mm), bone_mm(limits.bone_mm) {}
  double angle_deg, clearance_mm, tilt_deg, margin_mm, bone_mm;
  double length_factor = 1;          ///< of the usable length
  double need_factor = 1;            ///< of the needed mass
  int side = 0;                      ///< +1 or -1: only cores on that side; or kEitherSide
};

/// Tips of routes stand at whole steps of so many mm from the entry.
[[nodiscard]] double route_step_mm(const SearchScene& scene);

/// Whether a direction keeps the tilt limit.
[[nodiscard]] bool keeps_tilt(const Vec3& direction, double tilt_deg);

/// What makes a route dearer, as a share of its score, for standing near the tilt limit: on the day the object lies a little
/// otherwise. Nothing from 2 degrees inside the limit on, 0.03 nearer to it than 1.5. It only chooses between routes: the limit stays
/// what it is, and scores are given without it.
[[nodiscard]] double near_limit_price(const SearchScene& scene, const Vec3& direction);

/// Where a line enters the object: the first point in it, within a few voxels of `near`.
[[nodiscard]] std::optional<Vec3> surface_near(const SearchScene& scene, std::size_t ask, const Vec3& near, const Vec3& direction);

/// Whether there is nothing but air outwards from where a line enters, so far; what lies within a few voxels is the surface itself.
[[nodiscard]] bool is_open(const SearchScene& scene, std::size_t ask, const Vec3& entry, const Vec3& outwards, double reach_mm);

/// The shallowest tip on a line that keeps the limits and yields enough; `score` is infinite where there is none.
/// `entry` is any point within a few voxels of the surface; `outward` the surface's normal there.
[[nodiscard]] Route shallowest_route(const SearchScene& scene, std::size_t ask, const RouteLimits& limits,
                                     const Vec3& entry, const Vec3& outward, const Vec3& direction);

/// The same, whether or not there is room behind the entry, for those who can drop a route before they have to know.
[[nodiscard]] Route shallowest_without_room(const SearchScene& scene, std::size_t ask, const RouteLimits& limits,
                                            const Vec3& entry, const Vec3& outward, const Vec3& direction);

/// Whether the shaft stands free in the air behind the entry, and the hand behind the shaft.
[[nodiscard]] bool has_room(const SearchScene& scene, const Route& route);

/// The same line with its tip at another depth; `score` is infinite where a limit breaks.
[[nodiscard]] Route route_to_depth(const SearchScene& scene, std::size_t ask, const RouteLimits& limits, const Vec3& entry,
                                   const Vec3& outward, const Vec3& direction, double depth_mm);

/// The route as a track; its id is left empty.
[[nodiscard]] Track track_of(const SearchScene& scene, const Route& route);

/// The chance of enough that routes are wished to have: above the limit by what drawing it may be off.
[[nodiscard]] double wished_p_enough(const Limits& limits);

}  // namespace leastharm
