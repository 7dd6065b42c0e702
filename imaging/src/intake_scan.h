#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "dicom_frames.h"
#include "imaging/finding.h"
#include "intake_watch.h"

namespace leastharm {

/// Every DICOM file below a path, by its header.
struct Scan {
  std::vector<DicomFile> files;
  std::vector<Frame> frames;
  int non_image_files = 0;
  std::vector<Finding> findings;   ///< about the path
};

/// Frames that make one volume: same series, orientation, kernel, size, spacing, energy and frame of reference.
struct FrameGroup {
  std::string uid;                   ///< of the series; with #1, #2 where it holds several volumes
  std::string modality;
  std::vector<std::size_t> frames;   ///< into the scan; empty where all of a series was set aside
  std::vector<Finding> findings;     ///< what was set aside, and why
  std::string damaged;               ///< what files of the series are broken; empty where none is
};

/// Scans a folder with all below it, a DICOMDIR's files, or one DICOM file. Throws BadInput where there is nothing to
/// read. The order of names does not matter: the scan is sorted by what the files say.
[[nodiscard]] Scan scan_path(const std::filesystem::path& path, IntakeWatch& watch);

/// Sorts a scan's frames into volumes, ordered by uid.
[[nodiscard]] std::vector<FrameGroup> group_frames(const Scan& scan);

}  // namespace leastharm
