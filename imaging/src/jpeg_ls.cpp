#include "jpeg_ls.h"

#include <charls/charls.h>

#include "dicom_bytes.h"

namespace leastharm {

void decode_jpeg_ls(const std::string& stream, int columns, int rows, std::span<std::uint16_t> stored) {
  try {
    const charls::jpegls_decoder decoder(stream, true);
    const charls::frame_info& image = decoder.frame_info();
    const bool same = image.width == static_cast<std::uint32_t>(columns) && image.height == static_cast<std::uint32_t>(rows) &&
                      image.component_count == 1 && image.bits_per_sample > 8;
    if (!same) throw Unreadable("has compressed pixels of another size than its header says");
    decoder.decode(stored.data(), stored.size_bytes());
  } catch (const charls::jpegls_error&) {
    throw Unreadable("has damaged compressed pixels");
  }
}

}  // namespace leastharm
