#include "dicom_codec.h"

#include <gdcmByteValue.h>
#include <gdcmDataElement.h>
#include <gdcmJPEG2000Codec.h>
#include <gdcmJPEGCodec.h>
#include <gdcmJPEGLSCodec.h>
#include <gdcmSequenceOfFragments.h>
#include <gdcmTrace.h>

#include <array>
#include <cstring>
#include <memory>
#include <string>

namespace leastharm {
namespace {

constexpr const char* kRle = "1.2.840.10008.1.2.5";

std::unique_ptr<gdcm::ImageCodec> codec_named(const std::string& uid) {
  const std::string base = "1.2.840.10008.1.2.4.";
  for (const char* jpeg : {"50", "51", "57", "70"})
    if (uid == base + jpeg) return std::make_unique<gdcm::JPEGCodec>();
  if (uid == base + "80" || uid == base + "81") return std::make_unique<gdcm::JPEGLSCodec>();
  if (uid == base + "90" || uid == base + "91") return std::make_unique<gdcm::JPEG2000Codec>();
  return nullptr;
}

unsigned big_word(const std::string& bytes, std::size_t at) {
  return static_cast<unsigned>(static_cast<unsigned char>(bytes[at]) << 8 | static_cast<unsigned char>(bytes[at + 1]));
}

struct CodedSize {
  unsigned columns = 0, rows = 0, components = 0, bits = 0;
};

/// Size in a JPEG or JPEG-LS stream's frame header (ISO/IEC 10918-1, B.2.2; 14495-1, C.2.2).
CodedSize jpeg_size(const std::string& stream) {
  std::size_t at = 2;
  while (at + 10 <= stream.size() && static_cast<unsigned char>(stream[at]) == 0xff) {
    const auto marker = static_cast<unsigned char>(stream[at + 1]);
    const bool frame = (marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc) ||
                       marker == 0xf7;
    if (frame)
      return {big_word(stream, at + 7), big_word(stream, at + 5), static_cast<unsigned char>(stream[at + 9]),
              static_cast<unsigned char>(stream[at + 4])};
    at += 2 + big_word(stream, at + 2);
  }
  return {};
}

/// Size in a JPEG 2000 codestream's SIZ segment (ISO/IEC 15444-1, A.5.1), one tile component deep.
CodedSize jpeg_2000_size(const std::string& stream) {
  if (stream.size() < 44 || big_word(stream, 2) != 0xff51) return {};
  const auto dword = [&](std::size_t at) { return big_word(stream, at) << 16 | big_word(stream, at + 2); };
  return {dword(8) - dword(16), dword(12) - dword(20), big_word(stream, 40),
          (static_cast<unsigned char>(stream[42]) & 0x7fu) + 1};
}

/// The codecs trust a stream's own size, so it must be the header's before they see it.
void check_size(const std::string& stream, const DicomFile& file) {
  const bool jpeg_2000 = file.syntax.uid.ends_with(".90") || file.syntax.uid.ends_with(".91");
  const CodedSize size = jpeg_2000 ? jpeg_2000_size(stream) : jpeg_size(stream);
  if (size.columns != static_cast<unsigned>(file.format.columns) ||
      size.rows != static_cast<unsigned>(file.format.rows) || size.components != 1 || size.bits <= 8 || size.bits > 16)
    throw Unreadable("has compressed pixels of another size than its header says");
}

void decode_by_gdcm(const std::string& stream, const DicomFile& file, std::span<std::uint16_t> stored) {
  const auto codec = codec_named(file.syntax.uid);
  if (!codec) throw Unreadable("has pixels in a coding that is not known (" + file.syntax.uid.substr(0, 64) + ")");
  check_size(stream, file);
  gdcm::Trace::WarningOff();
  gdcm::Trace::ErrorOff();
  const std::array<unsigned, 3> size{static_cast<unsigned>(file.format.columns),
                                     static_cast<unsigned>(file.format.rows), 1};
  codec->SetNumberOfDimensions(2);
  codec->SetDimensions(size.data());
  codec->SetPhotometricInterpretation(gdcm::PhotometricInterpretation::MONOCHROME2);
  codec->SetPixelFormat(gdcm::PixelFormat(1, 16, static_cast<unsigned short>(file.format.bits_stored),
                                          static_cast<unsigned short>(file.format.high_bit),
                                          file.format.is_signed ? 1 : 0));
  gdcm::SmartPointer<gdcm::SequenceOfFragments> fragments = new gdcm::SequenceOfFragments;
  gdcm::Fragment fragment;
  fragment.SetByteValue(stream.data(), static_cast<std::uint32_t>(stream.size()));
  fragments->AddFragment(fragment);
  gdcm::DataElement coded(gdcm::Tag(0x7fe0, 0x0010)), plain;
  coded.SetVR(gdcm::VR::OB);
  coded.SetValue(*fragments);
  const bool done = codec->Decode(coded, plain);
  const gdcm::ByteValue* values = done ? plain.GetByteValue() : nullptr;
  if (!values || values->GetLength() < stored.size_bytes()) throw Unreadable("has damaged compressed pixels");
  std::memcpy(stored.data(), values->GetPointer(), stored.size_bytes());
}

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
  if (file.syntax.uid == kRle) decode_rle(stream, stored);
  else decode_by_gdcm(stream, file, stored);
}

}  // namespace leastharm
