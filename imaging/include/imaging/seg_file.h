#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "imaging/mask.h"

namespace leastharm {

/// A mask and what it is called: one segment of a DICOM segmentation.
struct NamedMask {
  std::string name;
  Mask mask;
};

/// What a DICOM segmentation says of itself.
struct SegFacts {
  std::string object_id;                ///< stands where a patient's identity would
  std::string frame_of_reference_uid;   ///< the CT's; empty: one made from the grid
  std::string label;                    ///< of the content, in capitals and underscores, such as "MATERIALS"
  std::string software_version;
  std::string time;                     ///< UTC, "2026-01-31T12:00:00Z"
  bool drawn = false;                   ///< by a person; else computed and then corrected by people
};

/// Writes masks of one grid as a DICOM segmentation (PS3.3, A.51): one bit a pixel, a frame for each plane that a
/// segment has voxels in, segments numbered from 1. They may overlap. Whole or not at all; same input, same bytes.
/// Throws BadInput where there is no voxel to write, or the file cannot be written.
void write_dicom_seg(const std::vector<NamedMask>& segments, const SegFacts& facts, const std::filesystem::path& path);

}  // namespace leastharm
