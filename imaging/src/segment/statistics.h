#pragma once

#include "imaging/segmentation.h"

namespace leastharm::segment_detail {

/// Fills in volume and mean HU of every material, and the mean HU of even air where there is any. Voxels without a
/// reading count in the volume but not in the means.
void count_materials(const Volume<std::int16_t>& hu, Segmentation& map, int threads);

/// Plain sentences about a finished map: materials that were not found. What room air reads is told where the CT is read.
void report_findings(Segmentation& map);

}  // namespace leastharm::segment_detail
