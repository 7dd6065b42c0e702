#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// Blocks of the fine grid's voxels. What lies where in the body is settled here; borders are drawn on the fine grid.
struct Coarse {
  std::array<int, 3> size{0, 0, 0};
  std::array<int, 3> factor{1, 1, 1};   ///< fine voxels a block along each axis; the last block may hold fewer
  Vec3 spacing_mm{1, 1, 1};

  [[nodiscard]] std::size_t count() const {
    return static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(size[1]) *
           static_cast<std::size_t>(size[2]);
  }
  [[nodiscard]] std::size_t offset(int i, int j, int k) const {
    return static_cast<std::size_t>(i) +
           static_cast<std::size_t>(size[0]) *
               (static_cast<std::size_t>(j) + static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(k));
  }
  [[nodiscard]] VoxelIndex index(std::size_t offset) const {
    const auto w = static_cast<std::size_t>(size[0]), h = static_cast<std::size_t>(size[1]);
    return {static_cast<int>(offset % w), static_cast<int>(offset / w % h), static_cast<int>(offset / (w * h))};
  }
  /// The block that holds a fine voxel.
  [[nodiscard]] std::size_t block_of(const VoxelIndex& voxel) const {
    return offset(voxel.i / factor[0], voxel.j / factor[1], voxel.k / factor[2]);
  }
  [[nodiscard]] bool contains(int i, int j, int k) const {
    return i >= 0 && j >= 0 && k >= 0 && i < size[0] && j < size[1] && k < size[2];
  }
};

/// Blocks of about 5 mm, smaller in a body of less tissue than a child's, whose walls are thinner; at most 4 voxels along an axis.
[[nodiscard]] Coarse coarse_grid(const Grid& fine, double tissue_mm3);

/// Levels at which one kind of matter ends and the next begins.
struct Thresholds {
  int fibre = 8;       ///< at least this: not air
  int tissue = 42;     ///< at least this: tissue, resin or denser
  int mineral = 84;    ///< at least this: bone, sand, mud or denser
  int tissue_peak = 68;   ///< the commonest level of (lean) tissue
  bool fat = false;       ///< fat and lean tissue part as they do in a living body
};

/// What the voxels of each block hold: shares of 255 after denoising, mean and spread of the HU as scanned.
struct Shares {
  std::vector<std::uint8_t> matter, tissue, mineral;   ///< at or above each threshold
  std::vector<std::int16_t> mean_hu;                   ///< with air put to -1000
  std::vector<std::uint16_t> deviation_hu;             ///< standard deviation within the block
};

[[nodiscard]] Shares shares_of(const Volume<std::int16_t>& hu, double air_hu, const Volume<std::uint8_t>& levels,
                               const Coarse& coarse, const Thresholds& thresholds, int threads);

}  // namespace leastharm::segment_detail
