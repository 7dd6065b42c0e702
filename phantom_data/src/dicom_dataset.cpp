#include "dicom_dataset.h"

#include <gdcmJPEG2000Codec.h>
#include <gdcmJPEGCodec.h>
#include <gdcmJPEGLSCodec.h>
#include <gdcmPixelFormat.h>
#include <gdcmRLECodec.h>
#include <gdcmSequenceOfFragments.h>

#include <memory>

#include "imaging/error.h"

namespace leastharm::phantom {
namespace {

gdcm::TransferSyntax syntax_of(Coding coding) {
  switch (coding) {
    case Coding::implicit_little: return gdcm::TransferSyntax::ImplicitVRLittleEndian;
    case Coding::explicit_little: return gdcm::TransferSyntax::ExplicitVRLittleEndian;
    case Coding::explicit_big: return gdcm::TransferSyntax::ExplicitVRBigEndian;
    case Coding::deflated: return gdcm::TransferSyntax::DeflatedExplicitVRLittleEndian;
    case Coding::rle: return gdcm::TransferSyntax::RLELossless;
    case Coding::jpeg_lossless: return gdcm::TransferSyntax::JPEGLosslessProcess14_1;
    case Coding::jpeg_ls: return gdcm::TransferSyntax::JPEGLSLossless;
    case Coding::jpeg_2000: return gdcm::TransferSyntax::JPEG2000Lossless;
  }
  return gdcm::TransferSyntax::TS_END;
}

std::unique_ptr<gdcm::ImageCodec> codec_of(Coding coding) {
  switch (coding) {
    case Coding::rle: return std::make_unique<gdcm::RLECodec>();
    case Coding::jpeg_ls: return std::make_unique<gdcm::JPEGLSCodec>();
    case Coding::jpeg_2000: return std::make_unique<gdcm::JPEG2000Codec>();
    case Coding::jpeg_lossless: return std::make_unique<gdcm::JPEGCodec>();
    default: return nullptr;
  }
}

gdcm::DataElement coded_frames(const std::vector<std::vector<std::uint16_t>>& frames, int columns,
                               int rows, const CtSeriesOptions& options) {
  const auto codec = codec_of(options.coding);
  const unsigned int size[3] = {static_cast<unsigned>(columns), static_cast<unsigned>(rows), 1};
  codec->SetNumberOfDimensions(2);
  codec->SetDimensions(size);
  codec->SetPhotometricInterpretation(gdcm::PhotometricInterpretation::MONOCHROME2);
  const auto bits = static_cast<unsigned short>(options.bits_stored);
  codec->SetPixelFormat(gdcm::PixelFormat(1, 16, bits, static_cast<unsigned short>(bits - 1),
                                          options.is_signed ? 1 : 0));
  // The pixel format makes JPEG's inner coder from all that was set before; the choice of loss is the inner one's.
  if (auto* jpeg = dynamic_cast<gdcm::JPEGCodec*>(codec.get())) jpeg->SetLossless(true);
  gdcm::SmartPointer<gdcm::SequenceOfFragments> all = new gdcm::SequenceOfFragments;
  for (const auto& frame : frames) {
    gdcm::DataElement raw(gdcm::Tag(0x7fe0, 0x0010), 0, gdcm::VR::OW), coded;
    raw.SetByteValue(reinterpret_cast<const char*>(frame.data()),
                     static_cast<std::uint32_t>(frame.size() * 2));
    if (!codec->Code(raw, coded) || !coded.GetSequenceOfFragments())
      throw BadInput("a slice cannot be compressed in this coding");
    all->AddFragment(coded.GetSequenceOfFragments()->GetFragment(0));
  }
  gdcm::DataElement pixels(gdcm::Tag(0x7fe0, 0x0010));
  pixels.SetVR(gdcm::VR::OB);
  pixels.SetValue(*all);
  return pixels;
}

}  // namespace

void put_pixels(gdcm::DataSet& set, const std::vector<std::vector<std::uint16_t>>& frames,
                int columns, int rows, const CtSeriesOptions& options) {
  if (codec_of(options.coding)) {
    set.Replace(coded_frames(frames, columns, rows, options));
    return;
  }
  std::vector<std::uint16_t> all;
  for (const auto& frame : frames) all.insert(all.end(), frame.begin(), frame.end());
  put_bytes(set, 0x7fe0, 0x0010, gdcm::VR::OW, std::as_bytes(std::span(all)));
}

void write_file(const gdcm::DataSet& set, const std::filesystem::path& path,
                const CtSeriesOptions& options) {
  write_dicom(set, syntax_of(options.coding), path, options.preamble);
}

}  // namespace leastharm::phantom
