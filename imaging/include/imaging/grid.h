#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

namespace leastharm {

/// A point or direction in DICOM patient coordinates (LPS: +x to the scanner's left, +y back, +z head), mm.
using Vec3 = Eigen::Vector3d;
using Mat3 = Eigen::Matrix3d;

/// A voxel's index (i, j, k); i runs fastest in memory.
struct VoxelIndex {
  int i = 0, j = 0, k = 0;
  [[nodiscard]] int operator[](std::size_t axis) const { return axis == 0 ? i : axis == 1 ? j : k; }
  friend bool operator==(const VoxelIndex&, const VoxelIndex&) = default;
};

/// Where a volume's voxels lie. An integer index is a voxel's centre: voxel 0 reaches from -0.5 to +0.5.
struct Grid {
  std::array<int, 3> size{0, 0, 0};    ///< voxels along i, j, k
  Vec3 spacing_mm{1, 1, 1};            ///< between voxel centres along i, j, k
  Vec3 origin_lps_mm{0, 0, 0};         ///< centre of voxel (0, 0, 0)
  Mat3 direction = Mat3::Identity();   ///< columns: the unit vectors of the i, j, k axes in LPS; orthonormal

  [[nodiscard]] std::size_t voxel_count() const {
    return static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(size[1]) *
           static_cast<std::size_t>(size[2]);
  }
  [[nodiscard]] double voxel_volume_mm3() const { return spacing_mm.prod(); }
  [[nodiscard]] std::size_t offset(int i, int j, int k) const {
    return static_cast<std::size_t>(i) +
           static_cast<std::size_t>(size[0]) *
               (static_cast<std::size_t>(j) +
                static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(k));
  }
  [[nodiscard]] std::size_t offset(VoxelIndex v) const { return offset(v.i, v.j, v.k); }
  /// The voxel at an offset.
  [[nodiscard]] VoxelIndex index(std::size_t offset) const {
    const auto w = static_cast<std::size_t>(size[0]), h = static_cast<std::size_t>(size[1]);
    return {static_cast<int>(offset % w), static_cast<int>(offset / w % h), static_cast<int>(offset / (w * h))};
  }
  /// From a voxel's offset to that of the next along i, j, k.
  [[nodiscard]] std::array<std::ptrdiff_t, 3> strides() const {
    return {1, size[0], static_cast<std::ptrdiff_t>(size[0]) * size[1]};
  }
  [[nodiscard]] bool contains(VoxelIndex v) const {
    return v.i >= 0 && v.j >= 0 && v.k >= 0 && v.i < size[0] && v.j < size[1] && v.k < size[2];
  }
  /// Continuous index (voxel centres at integers) to LPS, mm.
  [[nodiscard]] Vec3 lps_from_index(const Vec3& index) const {
    return origin_lps_mm + direction * spacing_mm.cwiseProduct(index);
  }
  /// LPS, mm, to continuous index. The direction is orthonormal, so its inverse is its transpose.
  [[nodiscard]] Vec3 index_from_lps(const Vec3& lps_mm) const {
    return index_way(lps_mm - origin_lps_mm);
  }
  /// A way in LPS, mm, as a difference of continuous indices.
  [[nodiscard]] Vec3 index_way(const Vec3& way_lps_mm) const {
    return (direction.transpose() * way_lps_mm).cwiseQuotient(spacing_mm);
  }
  /// The voxel that holds a point; it may lie outside the grid.
  [[nodiscard]] VoxelIndex voxel_at(const Vec3& lps_mm) const {
    const Vec3 c = index_from_lps(lps_mm);
    return {static_cast<int>(std::floor(c.x() + 0.5)), static_cast<int>(std::floor(c.y() + 0.5)),
            static_cast<int>(std::floor(c.z() + 0.5))};
  }
};

/// Same size, and the same place within `tolerance_mm` at every corner.
[[nodiscard]] bool same_grid(const Grid& a, const Grid& b, double tolerance_mm = 0.01);

/// A grid with one value a voxel, i fastest, then j, then k.
template <typename T>
struct Volume {
  Grid grid;
  std::vector<T> values;

  [[nodiscard]] T at(VoxelIndex v) const { return values[grid.offset(v)]; }
};

/// HU of a voxel that the scanner did not measure (padding): neither air nor anything else.
inline constexpr std::int16_t kNoReadingHu = std::numeric_limits<std::int16_t>::min();

}  // namespace leastharm
