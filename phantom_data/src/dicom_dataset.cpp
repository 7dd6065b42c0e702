#include "dicom_dataset.h"

#include <gdcmFile.h>
#include <gdcmJPEG2000Codec.h>
#include <gdcmJPEGCodec.h>
#include <gdcmJPEGLSCodec.h>
#include <gdcmPixelFormat.h>
#include <gdcmRLECodec.h>
#include <gdcmSequenceOfFragments.h>
#include <gdcmSequenceOfItems.h>
#include <gdcmTrace.h>
#include <gdcmWriter.h>

#include <bit>
#include <cstdio>
#include <cstring>
#include <memory>

#include "imaging/error.h"

namespace leastharm::phantom {
namespace {

/// GDCM writes a bare data set too, but offers that to derived classes only.
class Writer : public gdcm::Writer {
 public:
  using gdcm::Writer::SetWriteDataSetOnly;
};

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

void put_bytes(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
               gdcm::VR::VRType vr, const void* bytes, std::size_t size) {
  gdcm::DataElement item(gdcm::Tag(group, element), 0, vr);
  item.SetByteValue(static_cast<const char*>(bytes), static_cast<std::uint32_t>(size));
  set.Replace(item);
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

std::string decimal_string(double value) {
  char text[40];
  for (int digits = 15; digits > 1; --digits) {
    std::snprintf(text, sizeof text, "%.*g", digits, value == 0 ? 0.0 : value);
    if (std::strlen(text) <= 16) break;
  }
  return text;
}

std::string decimal_strings(std::span<const double> values) {
  std::string text;
  for (const double value : values) text += (text.empty() ? "" : "\\") + decimal_string(value);
  return text;
}

void put(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr,
         std::string text) {
  if (text.size() % 2 != 0) text += vr == gdcm::VR::UI ? '\0' : ' ';
  put_bytes(set, group, element, vr, text.data(), text.size());
}

void put_us(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint16_t value) {
  put_bytes(set, group, element, gdcm::VR::US, &value, sizeof value);
}

void put_ss(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::int16_t value) {
  put_bytes(set, group, element, gdcm::VR::SS, &value, sizeof value);
}

void put_ul(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
            const std::vector<std::uint32_t>& values) {
  put_bytes(set, group, element, gdcm::VR::UL, values.data(), values.size() * 4);
}

void put_fd(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
            const std::vector<double>& values) {
  put_bytes(set, group, element, gdcm::VR::FD, values.data(), values.size() * 8);
}

void put_items(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
               const std::vector<gdcm::DataSet>& items) {
  gdcm::SmartPointer<gdcm::SequenceOfItems> sequence = new gdcm::SequenceOfItems;
  sequence->SetLengthToUndefined();
  for (const gdcm::DataSet& nested : items) {
    gdcm::Item item;
    item.SetVLToUndefined();
    item.SetNestedDataSet(nested);
    sequence->AddItem(item);
  }
  gdcm::DataElement holder(gdcm::Tag(group, element));
  holder.SetVR(gdcm::VR::SQ);
  holder.SetValue(*sequence);
  holder.SetVLToUndefined();
  set.Replace(holder);
}

void put_item(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
              const gdcm::DataSet& item) {
  put_items(set, group, element, {item});
}

void put_code(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
              const std::string& value, const std::string& scheme, const std::string& meaning) {
  gdcm::DataSet code;
  put(code, 0x0008, 0x0100, gdcm::VR::SH, value);
  put(code, 0x0008, 0x0102, gdcm::VR::SH, scheme);
  put(code, 0x0008, 0x0104, gdcm::VR::LO, meaning);
  put_item(set, group, element, code);
}

void put_pixels(gdcm::DataSet& set, const std::vector<std::vector<std::uint16_t>>& frames,
                int columns, int rows, const CtSeriesOptions& options) {
  if (codec_of(options.coding)) {
    set.Replace(coded_frames(frames, columns, rows, options));
    return;
  }
  std::vector<std::uint16_t> all;
  for (const auto& frame : frames) all.insert(all.end(), frame.begin(), frame.end());
  put_bytes(set, 0x7fe0, 0x0010, gdcm::VR::OW, all.data(), all.size() * 2);
}

void write_file(const gdcm::DataSet& set, const std::filesystem::path& path,
                const CtSeriesOptions& options) {
  gdcm::Trace::WarningOff();
  gdcm::Trace::ErrorOff();
  Writer writer;
  writer.SetFileName(path.c_str());
  writer.GetFile().SetDataSet(set);
  writer.GetFile().GetHeader().SetDataSetTransferSyntax(syntax_of(options.coding));
  writer.SetWriteDataSetOnly(!options.preamble);
  if (!writer.Write()) throw BadInput("cannot write " + path.string());
}

}  // namespace leastharm::phantom
