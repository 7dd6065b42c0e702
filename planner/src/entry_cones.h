#pragma once

#include <cstdint>
#include <vector>

#include "search_scene.h"

namespace leastharm {

/// Which way the outer surface looks near a voxel: a cone that holds the outward normals of all entry voxels close to it.
class EntryCones {
 public:
  /// Entry voxels whose centre lies within `reach_mm` of a voxel's, along each axis, are close to it.
  EntryCones(const SearchScene& scene, double reach_mm);

  /// Whether some direction within `half_angle` (radians) of `direction` enters near a point of the scene's box within
  /// `limit` (radians) of square to the surface.
  [[nodiscard]] bool may_enter(const Vec3& p, const Vec3& direction, double half_angle, double limit) const;

 private:
  struct Cone {
    Vec3 axis{0, 0, 0};
    double least_cosine = 1, half_angle = 0;
  };
  Grid grid_;
  Vec3 inverse_spacing_;
  std::vector<std::int32_t> cone_of_;   // by voxel of the box; -1 far from any surface
  std::vector<Cone> cones_;
};

}  // namespace leastharm
