#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"
#include "imaging/grid.h"

namespace leastharm::segment_detail {

/// The map in blocks: shares of bone, and of everything that belongs to the body itself.
struct Blocks {
  Grid grid;       ///< of the blocks
  Coarse coarse;
  std::vector<float> bone, body;

  [[nodiscard]] Vec3 centre(std::size_t v) const {
    const VoxelIndex b = coarse.index(v);
    return grid.lps_from_index({static_cast<double>(b.i), static_cast<double>(b.j), static_cast<double>(b.k)});
  }
};

[[nodiscard]] Blocks make_blocks(const Volume<std::uint8_t>& materials, int threads);

struct Weighted {
  Vec3 at;
  double weight = 0;
};

/// The middles of the blocks that hold at least a share.
[[nodiscard]] std::vector<Weighted> points_of(const Blocks& blocks, const std::vector<float>& share, float least);

struct Axes {
  Vec3 centre{0, 0, 0};
  Mat3 directions = Mat3::Identity();   ///< columns, longest first
  Vec3 deviations_mm{0, 0, 0};
};

[[nodiscard]] Axes principal_axes(const std::vector<Weighted>& points);

/// The largest hollow that bone closes round: its middle and the radius of a ball of its volume.
struct Hollow {
  Vec3 centre{0, 0, 0};
  double radius_mm = 0, next_radius_mm = 0;
};

/// A block lies in a hollow when bone is met from it in nearly every direction within a share of the body's length.
[[nodiscard]] Hollow skull_hollow(const Blocks& blocks, double length_mm, int threads);

}  // namespace leastharm::segment_detail
