#include "dicom_codec.h"

#include <algorithm>
#include <string>

#include "jpeg_2000.h"
#include "jpeg_lossless.h"
#include "jpeg_ls.h"

namespace leastharm {
namespace {

/// One byte plane (PS3.5, G.3.2): runs of literal bytes and of repeated ones.
void unpack_rle(std::string_view packed, std::size_t shift, std::span<std::uint16_t> stored) {
  std::size_t at = 0, done = 0;
  const auto take = [&](unsigned char byte) {
    if (done < stored.size()) stored[done++] |= static_cast<std::uint16_t>(byte << shift);
  };
  while (done < stored.size() && at < packed.size()) {
    const auto control = static_cast<signed char>(packed[at++]);
    if (control >= 0) {
      for (int n = 0; n <= control && at < packed.size(); ++n) take(static_cast<unsigned char>(packed[at++]));
    } else if (control != -128 && at < packed.size()) {
      for (int n = 0; n <= -control; ++n) take(static_cast<unsigned char>(packed[at]));
      ++at;
    }
  }
  if (done < stored.size()) throw Unreadable("has damaged compressed pixels");
}

/// PS3.5, Annex G: a header of 16 words, then the high and the low bytes as planes of their own.
void decode_rle(const std::string& stream, std::span<std::uint16_t> stored) {
  const auto dword = [&](std::size_t word) {
    std::uint32_t value = 0;
    for (std::size_t n = 4; n-- > 0;) value = value << 8 | static_cast<unsigned char>(stream[4 * word + n]);
    return value;
  };
  if (stream.size() < 64 || dword(0) != 2 || dword(1) > dword(2) || dword(2) > stream.size())
    throw Unreadable("has damaged compressed pixels");
  const std::string_view all(stream);
  std::fill(stored.begin(), stored.end(), std::uint16_t{0});
  unpack_rle(all.substr(dword(1), dword(2) - dword(1)), 8, stored);
  unpack_rle(all.substr(dword(2)), 0, stored);
}

}  // namespace

void decode_frame(DicomBytes& bytes, const DicomFile& file, int frame, std::span<std::uint16_t> stored) {
  std::string stream;
  for (const Fragment& fragment : file.fragments[static_cast<std::size_t>(frame)])
    stream += bytes.view(fragment.at, fragment.length);
  const std::string& uid = file.syntax.uid;
  const std::string jpeg = "1.2.840.10008.1.2.4.";   // PS3.6, Annex A
  if (uid == "1.2.840.10008.1.2.5") decode_rle(stream, stored);
  else if (uid == jpeg + "57" || uid == jpeg + "70")
    decode_jpeg_lossless(stream, file.format.columns, file.format.rows, stored);
  else if (uid == jpeg + "80" || uid == jpeg + "81")
    decode_jpeg_ls(stream, file.format.columns, file.format.rows, stored);
  else if (uid == jpeg + "90" || uid == jpeg + "91")
    decode_jpeg_2000(stream, file.format.columns, file.format.rows, stored);
  else throw Unreadable("has pixels in a coding that is not read here (" + uid.substr(0, 64) + ")");
}

}  // namespace leastharm
