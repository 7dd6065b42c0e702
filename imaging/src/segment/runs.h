#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace leastharm::segment_detail {

/// Voxels first..last of row (j, k), and the connected piece they belong to.
struct Run {
  int first = 0, last = 0, j = 0, k = 0;
  std::int32_t piece = -1;

  [[nodiscard]] int length() const { return last - first + 1; }
};

/// The connected pieces of a set, as runs in memory order. Pieces are numbered by their first voxel.
struct RunPieces {
  std::vector<Run> runs;
  std::int32_t pieces = 0;

  [[nodiscard]] std::vector<std::size_t> sizes() const;
};

/// Which byte values belong to a set.
using ByteSet = std::array<bool, 256>;

/// Pieces of the voxels whose value is in `set`; they touch by face, or (`corners`) also by edge and corner.
[[nodiscard]] RunPieces pieces_of(const std::array<int, 3>& size, const std::uint8_t* values, const ByteSet& set,
                                  bool corners, int threads);

}  // namespace leastharm::segment_detail
