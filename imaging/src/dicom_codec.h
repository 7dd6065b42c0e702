#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "dicom_frames.h"

namespace leastharm {

/// Where each frame's fragments lie (PS3.5, A.4). Throws Unreadable where the chain of fragments is broken, or does
/// not tell which of them belong to which frame.
[[nodiscard]] std::vector<std::vector<Fragment>> find_fragments(DicomBytes& bytes, std::uint64_t at, int frames);

/// Unpacks one frame of compressed pixels (RLE, JPEG, JPEG-LS, JPEG 2000) into 16-bit words in this machine's order.
/// Throws Unreadable where the coding is unknown, or the fragments are damaged or of another size.
void decode_frame(DicomBytes& bytes, const DicomFile& file, int frame, std::span<std::uint16_t> stored);

}  // namespace leastharm
