#pragma once

#include <gdcmDataSet.h>

#include <string>
#include <vector>

#include "phantom_data/ct_series.h"

namespace leastharm::phantom {

/// What a slice's tags are by volume and options, after the caller's change.
SliceTags tags_of_slice(const Grid& grid, const CtSeriesOptions& options, int slice);
/// A slice as stored values, masked to the bits stored.
std::vector<std::uint16_t> stored_values(const Volume<std::int16_t>& hu, int slice,
                                         const SliceTags& tags, const CtSeriesOptions& options);

/// Patient, study, series, equipment and SOP elements that both kinds of CT have.
gdcm::DataSet common_data_set(const SliceTags& tags, const CtSeriesOptions& options,
                              const std::string& sop_class, const std::string& sop_instance);
/// Size and coding of the pixels, without the pixels.
void put_pixel_format(gdcm::DataSet& set, const Grid& grid, const CtSeriesOptions& options);
/// All elements of a CT image (PS3.3, A.3) but the pixels.
gdcm::DataSet slice_data_set(const Grid& grid, const SliceTags& tags,
                             const CtSeriesOptions& options, const std::string& sop_instance);

}  // namespace leastharm::phantom
