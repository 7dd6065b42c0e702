#pragma once

#include <array>
#include <vector>

#include "imaging/grid.h"
#include "planner/assess.h"

namespace leastharm {

/// A solid, flat-ended cylinder. LPS, mm.
struct Cylinder {
  Vec3 start{0, 0, 0};    ///< centre of the first end
  Vec3 axis{0, 0, 1};     ///< unit, from the first end to the other
  double length_mm = 0, radius_mm = 0;

  [[nodiscard]] Vec3 at(double depth_mm) const { return start + depth_mm * axis; }
  /// Signed distance from a point to the surface, mm; negative inside. Exact.
  [[nodiscard]] double signed_distance_mm(const Vec3& point) const;
  [[nodiscard]] double volume_mm3() const;
};

/// Unit vector from entry to tip. Precondition: they do not coincide.
[[nodiscard]] Vec3 axis_of(const Track& track);
/// Entry to tip, mm.
[[nodiscard]] double path_length_mm(const Track& track);
/// What the steel takes up inside the object: outer diameter, from the entry to the end of the dead tip.
[[nodiscard]] Cylinder outer_cylinder(const Track& track);
/// What the bore takes: from the tip back over the throw.
[[nodiscard]] Cylinder core_cylinder(const Track& track);

/// Two unit vectors square to `axis` and to each other; the same for the same axis.
[[nodiscard]] std::array<Vec3, 2> across(const Vec3& axis);

/// A point of a disc as seen along its axis: offsets along the two vectors of `across`, mm.
struct DiscNode {
  double x_mm = 0, y_mm = 0;
};
/// `count` points spread evenly over a disc, each standing for the same area (a sunflower's spiral).
[[nodiscard]] std::vector<DiscNode> disc_nodes(double radius_mm, int count);
/// Points enough that the error of volumes over the voxel map stays below 0.2 % (tests/planner/swept_test.cpp).
[[nodiscard]] int fine_node_count(double radius_mm, const Grid& grid);

/// Least distance between any two points of two segments, mm. Exact.
[[nodiscard]] double segment_distance_mm(const Vec3& a0, const Vec3& a1, const Vec3& b0, const Vec3& b1);

}  // namespace leastharm
