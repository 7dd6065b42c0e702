#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

using Digest = std::array<unsigned char, 32>;

/// SHA-256 of one slice's values.
[[nodiscard]] Digest slice_digest(std::span<const std::byte> values);

/// The hash of a volume from its slices' digests: whoever has each slice in hand can hash it there and then.
[[nodiscard]] std::string volume_hash(const Grid& grid, const std::vector<Digest>& slices);

}  // namespace leastharm
