#pragma once

#include <cstdint>
#include <span>
#include <string>

namespace leastharm {

/// Unpacks a JPEG 2000 codestream (ISO/IEC 15444-1, one component of 2 to 16 bits) by OpenJPEG, without a word.
/// Throws Unreadable where it is of another kind or size, or damaged.
void decode_jpeg_2000(const std::string& stream, int columns, int rows, std::span<std::uint16_t> stored);

}  // namespace leastharm
