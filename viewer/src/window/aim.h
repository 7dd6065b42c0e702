#pragma once

#include "planner/assess.h"
#include "planner/body.h"

namespace leastharm {

// How a track moves in a person's hand. Nothing here looks at limits: the figures say what a place
// costs.

/// A place outside the object from which a track may enter near `entry`, going toward `tip`:
/// `entry` itself where the needle's way to it is free, else the far end of what lies in the way,
/// up to 25 mm of free air between pieces.
[[nodiscard]] Vec3 outside_of(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm);

[[nodiscard]] Track with_tip(Track track, const Vec3& tip_lps_mm);
/// The entry taken to a new place; it is moved out of the object where it lies inside.
[[nodiscard]] Track with_entry(const Body& body, Track track, const Vec3& entry_lps_mm);
[[nodiscard]] Track shifted(const Body& body, Track track, const Vec3& by_mm);
/// Longer (or shorter) by `mm` at the tip; never shorter than 1 mm.
[[nodiscard]] Track deepened(Track track, double mm);
/// Turned about its entry by `degrees` around a unit axis.
[[nodiscard]] Track turned(const Body& body, Track track, const Vec3& axis, double degrees);

/// A straight way into the middle of `target` from the open side nearest to it: a start for a
/// person's own track.
[[nodiscard]] Track first_aim(const Body& body, const Vec3& target_lps_mm, const Needle& needle);

}  // namespace leastharm
