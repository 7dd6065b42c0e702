#include "dicom_pixels.h"

#include <algorithm>

#include "dicom_codec.h"
#include "hu_limits.h"

namespace leastharm {
namespace {

int stored_value(std::uint16_t word, const PixelFormat& format) {
  const int bits = format.bits_stored;
  const int value = word >> (format.high_bit + 1 - bits) & ((1 << bits) - 1);
  return format.is_signed && value >> (bits - 1) ? value - (1 << bits) : value;
}

std::int16_t hu_of(std::uint16_t word, const PixelFormat& format, const Rescale& rescale) {
  const int stored = stored_value(word, format);
  if (format.padding_from && stored >= *format.padding_from && stored <= *format.padding_to) return kNoReadingHu;
  return hu_from(rescale.slope * stored + rescale.intercept);
}

}  // namespace

void PixelReader::make_table(const PixelFormat& format, const Rescale& rescale, bool big_endian) {
  if (table_format_ == format && table_rescale_ == rescale && table_big_endian_ == big_endian) return;
  table_.resize(65536);
  for (unsigned n = 0; n < 65536; ++n) {
    const unsigned at = big_endian ? (n >> 8 | (n & 0xff) << 8) : n;
    table_[at] = hu_of(static_cast<std::uint16_t>(n), format, rescale);
  }
  table_format_ = format;
  table_rescale_ = rescale;
  table_big_endian_ = big_endian;
}

void PixelReader::read(const DicomFile& file, const Frame& frame, std::span<std::int16_t> hu) {
  stored_.resize(hu.size());
  DicomBytes bytes(file.path);
  if (file.syntax.deflated) {
    const auto header = read_dicom_header(bytes);   // unpacks up to the pixels
    if (!header) throw Unreadable("changed while it was read");
  }
  const std::size_t size = hu.size() * 2;
  if (file.is_compressed) decode_frame(bytes, file, frame.index, stored_);
  else bytes.read(file.pixels_at + static_cast<std::uint64_t>(frame.index) * size, size, stored_.data());
  make_table(file.format, frame.rescale, file.syntax.big_endian);
  std::transform(stored_.begin(), stored_.end(), hu.begin(), [&](std::uint16_t word) { return table_[word]; });
}

}  // namespace leastharm
