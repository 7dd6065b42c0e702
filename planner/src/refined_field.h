#pragma once

#include <array>
#include <span>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// A voxel field w averaged over a needle's disc (radial_kernel.h), given at nodes finer than the voxels and trilinear
/// between them: F. Summed along a line at two points a voxel layer and multiplied by the disc's area it stands for the
/// integral of w over the cylinder, within about 1 % on random tracks. Points are in mm, voxel (0, 0, 0) at the origin.
class RefinedField {
 public:
  RefinedField() = default;
  RefinedField(const Volume<float>& voxels, double radius_mm, const std::array<int, 3>& factor);

  [[nodiscard]] float at(const Vec3& p) const {
    return at_node(static_cast<float>(p.x()) * inverse_[0], static_cast<float>(p.y()) * inverse_[1],
                   static_cast<float>(p.z()) * inverse_[2]);
  }
  /// Values at from, from + step, ...: one for each element of `out`.
  void at_row(const Vec3& from, const Vec3& step, std::span<float> out) const {
    const float x = static_cast<float>(from.x()) * inverse_[0], y = static_cast<float>(from.y()) * inverse_[1],
                z = static_cast<float>(from.z()) * inverse_[2];
    const float u = static_cast<float>(step.x()) * inverse_[0], v = static_cast<float>(step.y()) * inverse_[1],
                w = static_cast<float>(step.z()) * inverse_[2];
    const auto last = static_cast<float>(out.size() - 1);
    if (inside(x, y, z) && inside(x + last * u, y + last * v, z + last * w)) {
      for (std::size_t n = 0; n < out.size(); ++n) {
        const auto t = static_cast<float>(n);
        out[n] = between(x + t * u, y + t * v, z + t * w);
      }
      return;
    }
    for (std::size_t n = 0; n < out.size(); ++n) {
      const auto t = static_cast<float>(n);
      out[n] = at_node(x + t * u, y + t * v, z + t * w);
    }
  }

 private:
  [[nodiscard]] bool inside(float x, float y, float z) const {
    return x >= 0 && y >= 0 && z >= 0 && x < limit_[0] && y < limit_[1] && z < limit_[2];
  }
  [[nodiscard]] float at_node(float x, float y, float z) const { return inside(x, y, z) ? between(x, y, z) : 0; }
  [[nodiscard]] float between(float x, float y, float z) const {
    const int i = static_cast<int>(x), j = static_cast<int>(y), k = static_cast<int>(z);
    const float fx = x - static_cast<float>(i), fy = y - static_cast<float>(j), fz = z - static_cast<float>(k);
    const float* c = nodes_.data() + i + stride_j_ * j + stride_k_ * k;
    const float* d = c + stride_k_;
    const float c0 = c[0] + fx * (c[1] - c[0]), c1 = c[stride_j_] + fx * (c[stride_j_ + 1] - c[stride_j_]);
    const float d0 = d[0] + fx * (d[1] - d[0]), d1 = d[stride_j_] + fx * (d[stride_j_ + 1] - d[stride_j_]);
    const float e = c0 + fy * (c1 - c0), f = d0 + fy * (d1 - d0);
    return e + fz * (f - e);
  }

  std::vector<float> nodes_;
  std::array<int, 3> size_{0, 0, 0};
  std::array<float, 3> inverse_{1, 1, 1}, limit_{0, 0, 0};
  std::ptrdiff_t stride_j_ = 0, stride_k_ = 0;
};

/// Nodes per voxel so that nodes lie at most half a needle's radius apart, fewer where there would be more than
/// `most_nodes`.
[[nodiscard]] std::array<int, 3> refinement_factor(const Grid& grid, double radius_mm, std::size_t most_nodes);

}  // namespace leastharm
