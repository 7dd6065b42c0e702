#pragma once

#include <array>
#include <vector>

#include "planner/body.h"

namespace leastharm {

/// `outward_normal` of entry.h at many points of the half-voxel lattice (voxel centres, faces, edges, corners), by
/// stencils prepared once: the same vectors, an order of magnitude sooner.
class SurfaceNormals {
 public:
  explicit SurfaceNormals(const Body& body);

  /// Normal at index coordinates (i, j, k) / 2, along the grid's own axes; zero where it has no direction.
  [[nodiscard]] Vec3 at_half(int i2, int j2, int k2) const;

 private:
  struct Row {
    int j, k, begin, end;             ///< voxels begin..end of a row, relative to the point's voxel
    std::size_t first;                ///< of the weights
  };
  struct HalfStencil {
    std::vector<Row> rows;
    std::vector<float> x, y, z;
  };
  [[nodiscard]] float occupied(int i, int j, int k) const;

  const Body* body_;
  std::array<HalfStencil, 8> stencils_;   // by which coordinates are half-integers
};

}  // namespace leastharm
