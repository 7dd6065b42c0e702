#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

#include "dicom_elements.h"
#include "phantom_data/ct_series.h"

namespace leastharm::phantom {

/// Puts frames of `columns` x `rows` stored values (16 allocated) as pixel data, coded as asked.
void put_pixels(gdcm::DataSet& set, const std::vector<std::vector<std::uint16_t>>& frames,
                int columns, int rows, const CtSeriesOptions& options);

/// Writes the data set as a file. Throws BadInput.
void write_file(const gdcm::DataSet& set, const std::filesystem::path& path,
                const CtSeriesOptions& options);

}  // namespace leastharm::phantom
