#pragma once

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

}  // namespace leastharm::segment_detail
