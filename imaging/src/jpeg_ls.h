#pragma once

#include <cstdint>
#include <span>
#include <string>

namespace leastharm {

/// Unpacks a JPEG-LS stream (ISO/IEC 14495-1, one component of 9 to 16 bits) by CharLS.
/// Throws Unreadable where it is of another kind or size, or damaged.
void decode_jpeg_ls(const std::string& stream, int columns, int rows, std::span<std::uint16_t> stored);

}  // namespace leastharm
