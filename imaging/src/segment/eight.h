#pragma once

#include <algorithm>
#include <cstdint>
#include <cstring>

namespace leastharm::segment_detail {

/// Eight voxels looked at together, so that passes over the whole grid hurry through what is alike.
[[nodiscard]] inline std::uint64_t eight_at(const std::uint8_t* at) {
  std::uint64_t eight;
  std::memcpy(&eight, at, sizeof eight);
  return eight;
}

/// Eight times the same byte.
[[nodiscard]] inline std::uint64_t eight_of(std::uint8_t value) { return 0x0101010101010101ULL * value; }

/// Whether any of eight voxels has this value.
[[nodiscard]] inline bool any_is(std::uint64_t eight, std::uint8_t value) {
  const std::uint64_t other = eight ^ eight_of(value);
  return ((other - eight_of(1)) & ~other & eight_of(0x80)) != 0;   // a byte of zero borrows
}

/// Calls work(i) for each voxel of a row whose bits in `mask` are `value`.
template <typename Work>
void for_each_of(const std::uint8_t* row, int width, std::uint8_t mask, std::uint8_t value, const Work& work) {
  for (int first = 0; first < width; first += 8) {
    if (first + 8 <= width && !any_is(eight_at(row + first) & eight_of(mask), value)) continue;
    for (int i = first; i < std::min(width, first + 8); ++i)
      if ((row[i] & mask) == value) work(i);
  }
}

}  // namespace leastharm::segment_detail
