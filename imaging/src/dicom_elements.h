#pragma once

#include <gdcmDataSet.h>
#include <gdcmTransferSyntax.h>
#include <gdcmVR.h>

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace leastharm {

/// A number as a DICOM decimal string: at most 16 characters.
std::string decimal_string(double value);
std::string decimal_strings(std::span<const double> values);

/// Puts one element into a data set, in place of a former one.
void put(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr, std::string text);
void put_bytes(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr,
               std::span<const std::byte> bytes);
void put_us(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint16_t value);
void put_ss(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::int16_t value);
void put_ul(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<std::uint32_t>& values);
void put_fd(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<double>& values);
/// An attribute tag as a value (VR AT).
void put_tag(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint32_t tag);
void put_items(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::vector<gdcm::DataSet>& items);
void put_item(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const gdcm::DataSet& item);
/// A code sequence of one item (value, scheme, meaning).
void put_code(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, const std::string& value,
              const std::string& scheme, const std::string& meaning);

/// Writes the data set as a file; without `preamble` neither the first 132 bytes nor file meta information.
/// Throws BadInput.
void write_dicom(const gdcm::DataSet& set, const gdcm::TransferSyntax& syntax, const std::filesystem::path& path,
                 bool preamble = true);

}  // namespace leastharm
