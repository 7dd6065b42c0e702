#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "search_scene.h"

namespace leastharm {

/// Which way the outer surface looks near a voxel: a cone that holds the outward normals of all entry voxels close to it.
class EntryCones {
 public:
  /// Entry voxels whose centre lies within `reach_mm` of a voxel's, along each axis, are close to it. `one_by_one`: these are
  /// looked at, not only the cone that holds them.
  EntryCones(const SearchScene& scene, double reach_mm, bool one_by_one);

  /// The least angle to the inward normal, radians, at which some direction within `half_angle` of `direction` enters near a
  /// point of the scene's box; more than pi where nothing enters.
  [[nodiscard]] double least_angle(const Vec3& p, const Vec3& direction, double half_angle) const;

 private:
  struct Cone {
    Vec3 axis{0, 0, 0};
    double least_cosine = 1, half_angle = 0;
  };
  [[nodiscard]] double best_cosine(VoxelIndex v, const Vec3& direction) const;

  const SearchScene& scene_;
  GridFrame voxels_;                    // of the scene's box
  std::array<int, 3> reach_{0, 0, 0};
  std::vector<std::int32_t> entry_at_;  // by voxel of the box; -1 where nothing enters; empty where cones must do
  std::vector<std::int32_t> cone_of_;   // by voxel of the box; -1 far from any surface
  std::vector<Cone> cones_;
};

}  // namespace leastharm
