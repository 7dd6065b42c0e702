#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// Mean and standard deviation of levels over some voxels.
struct LevelStatistic {
  std::int64_t count = 0, sum = 0, squares = 0;

  void add(std::uint8_t level) {
    ++count;
    sum += level;
    squares += static_cast<std::int64_t>(level) * level;
  }
  void add(const LevelStatistic& other) {
    count += other.count;
    sum += other.sum;
    squares += other.squares;
  }
  [[nodiscard]] double mean() const { return count ? static_cast<double>(sum) / static_cast<double>(count) : 0; }
  [[nodiscard]] double deviation() const;
};

/// The middle one of at least one value; puts them in another order.
[[nodiscard]] double median(std::vector<double>& values);

/// Calls work(offset) for each of the up to six voxels next to one.
template <typename Work>
void for_neighbours(const Grid& grid, std::size_t v, const Work& work) {
  const VoxelIndex at = grid.index(v);
  const auto stride = grid.strides();
  for (std::size_t a = 0; a < 3; ++a) {
    if (at[a] > 0) work(v - static_cast<std::size_t>(stride[a]));
    if (at[a] + 1 < grid.size[a]) work(v + static_cast<std::size_t>(stride[a]));
  }
}

/// Calls work(offset) for every fine voxel of a block.
template <typename Work>
void for_voxels(const Coarse& coarse, const Grid& grid, std::size_t block, const Work& work) {
  const VoxelIndex b = coarse.index(block);
  const auto end = [&](int index, std::size_t a) {
    return index * coarse.factor[a] + coarse.factor[a] < grid.size[a] ? index * coarse.factor[a] + coarse.factor[a]
                                                                     : grid.size[a];
  };
  for (int k = b.k * coarse.factor[2]; k < end(b.k, 2); ++k)
    for (int j = b.j * coarse.factor[1]; j < end(b.j, 1); ++j) {
      const std::size_t row = grid.offset(0, j, k);
      for (int i = b.i * coarse.factor[0]; i < end(b.i, 0); ++i) work(row + static_cast<std::size_t>(i));
    }
}

[[nodiscard]] LevelStatistic statistic_of(const Volume<std::uint8_t>& levels, const Coarse& coarse, std::size_t block);

/// How uneven HU are around each block of a set, beyond the noise: the standard deviation over the most even cube of two or,
/// where noise hides more, three blocks an edge that all belong to the set; infinite where there are none.
[[nodiscard]] std::vector<float> variation_hu(const Coarse& coarse, const Shares& shares,
                                              const std::vector<std::uint8_t>& set, double noise_hu);

/// The variation that noise alone feigns in even matter.
[[nodiscard]] double least_variation_hu(const Coarse& coarse, double noise_hu);

/// A body of even matter: its core of blocks, and how deep it is.
struct Core {
  std::vector<std::size_t> blocks;
  double depth_mm = 0;   ///< radius of the largest ball of blocks
};

/// Connected cores of a set of blocks: what lies at least `inset_mm` inside it.
[[nodiscard]] std::vector<Core> cores_of(const Coarse& coarse, const std::vector<std::uint8_t>& set, double inset_mm,
                                         int threads);

/// The radius of the largest ball that fits into a set of blocks.
[[nodiscard]] double half_thickness_mm(const Coarse& coarse, const std::vector<std::uint8_t>& set, int threads);

/// The core's blocks and those of `set` joined to it within `reach` steps by face.
[[nodiscard]] std::vector<std::size_t> spread_in(const Coarse& coarse, const std::vector<std::uint8_t>& set,
                                                 const std::vector<std::size_t>& core, int reach);

/// The blocks around a block, by face, edge and corner.
[[nodiscard]] std::vector<std::size_t> ring_of(const Coarse& coarse, std::size_t block);
/// The blocks around some blocks, by face, edge and corner.
[[nodiscard]] std::vector<std::size_t> ring_of(const Coarse& coarse, const std::vector<std::size_t>& blocks);

}  // namespace leastharm::segment_detail
