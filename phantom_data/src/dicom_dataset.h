#pragma once

#include <gdcmDataSet.h>
#include <gdcmTransferSyntax.h>
#include <gdcmVR.h>

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "phantom_data/ct_series.h"

namespace leastharm::phantom {

/// A number as a DICOM decimal string: at most 16 characters.
std::string decimal_string(double value);
std::string decimal_strings(std::span<const double> values);

/// Puts one element into a data set, in place of a former one.
void put(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, gdcm::VR::VRType vr,
         std::string text);
void put_us(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::uint16_t value);
void put_ss(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element, std::int16_t value);
void put_ul(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
            const std::vector<std::uint32_t>& values);
void put_fd(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
            const std::vector<double>& values);
void put_items(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
               const std::vector<gdcm::DataSet>& items);
void put_item(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
              const gdcm::DataSet& item);
/// A code sequence of one item (value, scheme, meaning).
void put_code(gdcm::DataSet& set, std::uint16_t group, std::uint16_t element,
              const std::string& value, const std::string& scheme, const std::string& meaning);

/// Puts frames of `columns` x `rows` stored values (16 allocated) as pixel data, coded as asked.
void put_pixels(gdcm::DataSet& set, const std::vector<std::vector<std::uint16_t>>& frames,
                int columns, int rows, const CtSeriesOptions& options);

/// Writes the data set as a file. Throws BadInput.
void write_file(const gdcm::DataSet& set, const std::filesystem::path& path,
                const CtSeriesOptions& options);

}  // namespace leastharm::phantom
