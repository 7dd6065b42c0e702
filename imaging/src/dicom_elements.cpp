#include "dicom_elements.h"

#include <gdcmFile.h>
#include <gdcmSequenceOfItems.h>
#include <gdcmTrace.h>
#include <gdcmWriter.h>

#include <array>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <sstream>

#include "imaging/error.h"

namespace leastharm {
namespace {

/// GDCM writes a bare data set too, but offers that to derived classes only.
class Writer : public gdcm::Writer {
 public:
  using gdcm::Writer::SetWriteDataSetOnly;
};

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

void put_bytes(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr,
               std::span<const std::byte> bytes) {
  gdcm::DataElement item(gdcm::Tag(group, element), 0, vr);
  item.SetByteValue(reinterpret_cast<const char*>(bytes.data()), static_cast<std::uint32_t>(bytes.size()));
  set.Replace(item);
}

void put(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr, std::string text) {
  if (text.size() % 2 != 0) text += vr == gdcm::VR::UI ? '\0' : ' ';
  put_bytes(set, group, element, vr, std::as_bytes(std::span(text)));
}

void put_us(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint16_t value) {
  put_bytes(set, group, element, gdcm::VR::US, std::as_bytes(std::span(&value, 1)));
}

void put_ss(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::int16_t value) {
  put_bytes(set, group, element, gdcm::VR::SS, std::as_bytes(std::span(&value, 1)));
}

void put_ul(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<std::uint32_t>& values) {
  put_bytes(set, group, element, gdcm::VR::UL, std::as_bytes(std::span(values)));
}

void put_fd(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<double>& values) {
  put_bytes(set, group, element, gdcm::VR::FD, std::as_bytes(std::span(values)));
}

void put_tag(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint32_t tag) {
  // Two 16-bit words, the group first (PS3.5, 6.2).
  const std::array<std::uint16_t, 2> words{static_cast<std::uint16_t>(tag >> 16), static_cast<std::uint16_t>(tag)};
  put_bytes(set, group, element, gdcm::VR::AT, std::as_bytes(std::span(words)));
}

void put_items(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<gdcm::DataSet>& items) {
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

void put_item(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const gdcm::DataSet& item) {
  put_items(set, group, element, {item});
}

void put_code(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::string& value,
              const std::string& scheme, const std::string& meaning) {
  gdcm::DataSet code;
  put(code, 0x0008, 0x0100, gdcm::VR::SH, value);
  put(code, 0x0008, 0x0102, gdcm::VR::SH, scheme);
  put(code, 0x0008, 0x0104, gdcm::VR::LO, meaning);
  put_item(set, group, element, code);
}

void write_dicom(const gdcm::DataSet& set, const gdcm::TransferSyntax& syntax, const std::filesystem::path& path,
                 bool preamble) {
  gdcm::Trace::WarningOff();
  gdcm::Trace::ErrorOff();
  // Into memory first: GDCM ends the whole program where a file cannot be opened or the disk is full.
  std::ostringstream bytes;
  Writer writer;
  writer.SetStream(bytes);
  writer.GetFile().SetDataSet(set);
  writer.GetFile().GetHeader().SetDataSetTransferSyntax(syntax);
  writer.SetWriteDataSetOnly(!preamble);
  std::ofstream stream(path, std::ios::binary);
  if (writer.Write()) stream << bytes.view();
  stream.close();
  if (!stream || bytes.view().empty())
    throw BadInput("cannot write " + path.string() + ": no such folder, no permission, or a full disk");
}

}  // namespace leastharm
