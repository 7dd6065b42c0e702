#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dicom_frames.h"

namespace leastharm {

/// Turns a file's pixels into HU. One a thread: it keeps its buffers from slice to slice.
class PixelReader {
 public:
  /// Fills `hu` (columns x rows) with a frame's HU: rounded, held within +-32767, kNoReadingHu for padding.
  /// Throws Unreadable where the pixels are cut short, damaged, or in a coding that we do not know.
  void read(const DicomFile& file, const Frame& frame, std::span<std::int16_t> hu);

 private:
  void make_table(const PixelFormat& format, const Rescale& rescale, bool big_endian);

  std::vector<std::uint16_t> stored_;
  std::vector<std::int16_t> table_;   ///< HU of every 16-bit word
  std::optional<PixelFormat> table_format_;
  Rescale table_rescale_;
  bool table_big_endian_ = false;
};

}  // namespace leastharm
