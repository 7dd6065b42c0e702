#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <vector>

#include "search_scene.h"

namespace leastharm {

/// The cosine of an angle that is less by another one, whose cosine and sine are given, but not below 0.
[[nodiscard]] inline double cosine_less(double cosine, double cosine_of_other, double sine_of_other) {
  return cosine >= cosine_of_other ? 1 : cosine * cosine_of_other + std::sqrt(std::max(0.0, 1 - cosine * cosine)) * sine_of_other;
}

/// Which way the outer surface looks near a voxel: a cone that holds the outward normals of all entry voxels close to it.
class EntryCones {
 public:
  /// Entry voxels whose centre lies within `reach_mm` of a voxel's, along each axis, are close to it. `one_by_one`: these are
  /// looked at, not only the cone that holds them.
  EntryCones(const SearchScene& scene, double reach_mm, bool one_by_one);

  /// The largest cosine of an angle between `direction` and the inward normals near a point of the scene's box, or more; less
  /// than -1 where nothing enters.
  [[nodiscard]] double best_cosine(const Vec3& p, const Vec3& direction) const;

 private:
  struct Cone {
    Vec3 axis{0, 0, 0};
    double cosine = 1, sine = 0;   ///< of its half angle
  };
  [[nodiscard]] double best_of_entries(VoxelIndex v, const Vec3& direction) const;

  const SearchScene& scene_;
  GridFrame voxels_;                    // of the scene's box
  std::array<int, 3> reach_{0, 0, 0};
  std::vector<std::int32_t> entry_at_;  // by voxel of the box; -1 where nothing enters; empty where cones must do
  std::vector<std::int32_t> cone_of_;   // by voxel of the box; -1 far from any surface
  std::vector<Cone> cones_;
};

}  // namespace leastharm
