#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
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

  static constexpr double kNothingEnters = -2;
  [[nodiscard]] const Grid& grid() const { return grid_; }   ///< of the scene's box
  /// The largest cosine of an angle between `direction` and the inward normals near a voxel of the scene's box, or more;
  /// less than -1 where nothing enters.
  [[nodiscard]] double best_cosine(VoxelIndex v, const Vec3& direction) const;

 private:
  struct Cone {
    Eigen::Vector3f axis{0, 0, 0};
    float cosine = 1, sine = 0;   ///< of its half angle
  };
  void number_in_bricks();
  [[nodiscard]] double best_of_entries(std::size_t cone, const Vec3& direction) const;

  Grid grid_;                           // of the scene's box
  std::vector<std::int32_t> cone_of_;   // by voxel of the box; -1 far from any surface
  std::vector<Cone> cones_;
  // One by one: those near a cone's voxel are near_[first_[cone]] and on, up to the next cone's. Empty where cones must do.
  std::vector<std::uint32_t> first_, near_;
  std::vector<Eigen::Vector3f> outward_;
};

/// Best cosines of one direction, remembered voxel by voxel: points of a fine lattice ask for the same ones again and again.
class EntryCosines {
 public:
  EntryCosines(const EntryCones& cones, const Vec3& direction)
      : cones_(cones), direction_(direction), a_voxel_(cones.grid().spacing_mm.cwiseInverse()), known_(kEdge * kEdge * kEdge) {}

  /// In voxels, counted from the lower side of the first: of a point of the scene's box, mm, and of a step.
  [[nodiscard]] Vec3 in_voxels(const Vec3& p) const { return p.cwiseProduct(a_voxel_) + Vec3::Constant(0.5); }
  [[nodiscard]] Vec3 step_in_voxels(const Vec3& step) const { return step.cwiseProduct(a_voxel_); }
  /// As EntryCones has it, at a place given in voxels.
  [[nodiscard]] double best(const Vec3& place) {
    const VoxelIndex v{static_cast<int>(std::floor(place.x())), static_cast<int>(std::floor(place.y())),
                       static_cast<int>(std::floor(place.z()))};
    if (!cones_.grid().contains(v)) return EntryCones::kNothingEnters;
    const std::size_t n = cones_.grid().offset(v);
    Known& known = known_[static_cast<std::size_t>(v.i % kEdge + kEdge * (v.j % kEdge + kEdge * (v.k % kEdge)))];
    if (known.voxel != n) known = {n, cones_.best_cosine(v, direction_)};
    return known.cosine;
  }

 private:
  static constexpr int kEdge = 16;   // so far apart voxels share a place
  struct Known {
    std::size_t voxel = std::numeric_limits<std::size_t>::max();
    double cosine = 0;
  };

  const EntryCones& cones_;
  Vec3 direction_, a_voxel_;
  std::vector<Known> known_;
};

}  // namespace leastharm
