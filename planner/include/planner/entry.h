#pragma once

#include <optional>
#include <vector>

#include "planner/body.h"
#include "planner/cylinder.h"

namespace leastharm {

/// Where a track enters the object.
struct EntrySite {
  Vec3 point_lps_mm{0, 0, 0};
  Vec3 outward{0, 0, 1};         ///< unit normal of the smoothed outer surface
  double angle_deg = 0;          ///< between the track and the inward normal; 0 = square to the surface
  bool given_inside = false;     ///< the given entry lies in the object: no surface was found, the point is as given
  bool behind_support = false;   ///< the way from the given entry leads through the support
};

/// First surface of the object (not air, not support) from a track's given entry toward its tip. A given entry up to
/// half the smallest voxel below the surface counts as on it, so that a reported entry is found again from its rounded
/// coordinates. Empty where no object lies between entry and tip.
[[nodiscard]] std::optional<EntrySite> find_entry(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm);
/// Its point alone, for who draws: the normal takes thousands of voxels to smooth.
[[nodiscard]] std::optional<Vec3> find_entry_point(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm);

/// Outward unit normal of the object's surface near a point: the gradient of the object's occupancy under a Gaussian of
/// 2.5 mm standard deviation (5 mm across), or one voxel where voxels are larger. Beyond the grid the outermost voxels
/// go on, so a body cut by the field of view has no false surface there. Empty where the gradient vanishes.
[[nodiscard]] std::optional<Vec3> outward_normal(const Body& body, const Vec3& point_lps_mm);

/// pi d^2 / (4 cos angle), mm2. Angles above 88 degrees count as 88.
[[nodiscard]] double hole_area_mm2(double outer_mm, double angle_deg);

/// How far behind the entry, on its slanted side, a cylinder can still meet the surface it enters, mm.
[[nodiscard]] double slant_reach_mm(double radius_mm, double angle_deg, const Grid& grid);

/// How far behind the entry the steel may still touch the object: the rim on a slanted surface, and humps that the smoothed
/// surface hides. What lies farther back must be air. mm.
[[nodiscard]] double entry_reach_mm(double radius_mm, double angle_deg, const Grid& grid);

/// A point of the hole's ellipse with the voxel of the object that a line through it meets first.
struct HoleNode {
  Vec3 on_surface_lps_mm{0, 0, 0};        ///< on the plane square to `outward` through the entry
  std::optional<VoxelIndex> contact;      ///< empty where the line meets no object near the entry
};
/// Points of equal area over the hole. `track.entry_lps_mm` is the site's point.
[[nodiscard]] std::vector<HoleNode> hole_nodes(const Body& body, const Track& track, const EntrySite& site);

/// Whether a hole's point lies in a zone: the voxel it meets first, or its place on the surface.
[[nodiscard]] bool in_zone(const Mask& zone, const HoleNode& node);

/// Whether the whole outer cylinder enters through an opening: every line along it lies in the mark where it first
/// meets the object, or has passed through the mark before that.
[[nodiscard]] bool enters_through(const Mask& opening, const Body& body, const Track& track, const EntrySite& site);

/// The free room that the hub and the hand round it need behind the needle's usable length: a cylinder of this length
/// and radius, mm (our estimate: a gloved hand). It also keeps a track from beginning in an air space inside the body.
inline constexpr double kHandLengthMm = 80, kHandRadiusMm = 30;

/// Depth (negative) at which the way of the needle and the hand behind the entry meets the object or the support; empty
/// where it runs free. The needle is looked at by lines along it, the hand by the voxels' centres.
[[nodiscard]] std::optional<double> shaft_meets_mm(const Body& body, const Track& track, const EntrySite& site);

}  // namespace leastharm
