#pragma once

#include <cstdint>

#include "planner/clearance.h"
#include "planner/core_yield.h"

namespace leastharm {

// How a needle misses. The tip lands off its aim by N(0, placement_mm) along each of two directions across the track
// and by N(0, depth_mm) along it. The part `shared_mm` of the lateral error shifts the whole track (and all others
// alike); the rest turns it about its hub (the usable length behind the end), so it is less at the entry, grows to its
// full size at the tip, and on beyond.

/// A track as it came to lie. A shallow one may not have got as far as its entry.
struct PlacedAxis {
  Vec3 entry_lps_mm{0, 0, 0}, tip_lps_mm{0, 0, 0};
  Vec3 axis{0, 0, 1};   ///< unit, the way the needle points
};
/// `own` holds three standard normals (two across, one along), `shared` three (LPS; only its part across counts).
[[nodiscard]] PlacedAxis placed_axis(const Track& track, const Placement& placement, const Vec3& own,
                                     const Vec3& shared);

/// Per-axis lateral standard deviation at a depth of a track (its entry on the surface), mm.
[[nodiscard]] double lateral_sd_mm(const Placement& placement, const Track& track, double depth_mm);

struct Chance {
  double p = 0, standard_error = 0;
};

/// Chance that the steel touches a keep-out. Not counted but integrated: over 256 directions of the lateral error in
/// four shifted sets (their spread is the standard error), in each over the error's size from the Rayleigh law, with
/// the depth error's tail exact; so chances of 1e-9 are seen. With a shared part the errors at different depths are
/// taken as going together.
[[nodiscard]] Chance touch_chance(const KeepOut& keep_out, const Track& track, const Placement& placement);

/// Expected volume of the keep-out inside the steel over the placement error, mm3. Integrated voxel by voxel in closed
/// form, no draws.
[[nodiscard]] double expected_intrusion_mm3(const KeepOut& keep_out, const Track& track, const Placement& placement);

/// Chance that the core's centre lies in the region, over placement alone; 4096 evenly spread points.
[[nodiscard]] double reach_chance(const Body& body, const Region& region, const Track& track,
                                  const Placement& placement);

/// Chance that a point comes within `radius` of the origin, when it is spread about a place `distance` away with
/// standard deviation `sd` along each of two axes. From a table; within 5e-4.
[[nodiscard]] double disc_chance(double distance, double radius, double sd);

}  // namespace leastharm
