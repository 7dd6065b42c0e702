#pragma once

#include <cstdint>
#include <span>
#include <string_view>

namespace leastharm {

/// Unpacks a lossless JPEG stream (ITU-T T.81, Annex H: Huffman coding, one component, 2 to 16 bits).
/// Throws Unreadable where it is of another kind or size, or damaged.
void decode_jpeg_lossless(std::string_view stream, int columns, int rows, std::span<std::uint16_t> stored);

}  // namespace leastharm
