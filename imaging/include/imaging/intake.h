#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"

namespace leastharm {

/// One volume that a path holds, as it would be used (after mending).
struct Series {
  std::string uid;        ///< series instance UID; `UID#1`, `UID#2` where one series holds several volumes;
                          ///< for a single volume file: "file:" and its name
  std::string modality;   ///< "CT", or what the file says it is
  int slices = 0;
  Grid grid;
  double tilt_deg = 0;    ///< angle between the slice normal and the line of slice positions, as scanned
  bool usable = false;
  std::vector<Finding> findings;
};

/// What a path holds.
struct Inspection {
  std::vector<Series> series;       ///< ordered by uid
  int non_image_files = 0;          ///< files that are no image at all: counted, not fatal
  std::vector<Finding> findings;    ///< about the path as a whole
};

/// A CT volume in HU. Read whole; never altered afterwards.
struct CtVolume {
  Volume<std::int16_t> hu;          ///< kNoReadingHu where the scanner gave padding
  std::string series_uid;
  std::string frame_of_reference_uid;               ///< empty where the file has none
  std::map<std::string, std::string> facts;         ///< allow-listed acquisition facts, e.g. "kVp": "120", "kernel": "B30f"
  std::string sha256;                               ///< of grid and HU: the same CT in another folder has the same
  std::vector<Finding> findings;
};

/// Which volume to read from a path, and what may be passed over.
struct IntakeOptions {
  std::string series_uid;       ///< empty: the only usable one
  bool allow_gaps = false;      ///< go on over missing slices (filled by interpolation, and reported)
  bool correct_air = false;     ///< shift HU so that room air reads -1000
};

/// Lists what a path holds: a folder (any nesting), a DICOMDIR, one DICOM file, or one NRRD, NIfTI or MetaImage file.
/// Reads headers only. Throws BadInput where the path does not exist or cannot be read.
[[nodiscard]] Inspection inspect(const std::filesystem::path& path);

/// Reads one volume. Throws BadInput where there is no usable series, more than one and none named, an unknown uid,
/// or pixels that cannot be read (truncated, unknown coding).
[[nodiscard]] CtVolume read_ct(const std::filesystem::path& path, const IntakeOptions& options = {});

/// What room air reads: the middle of the lowest group of voxels that make up at least 1 % of the volume, below -600 HU.
/// Holds with air cut off at -1024 and for noise up to 60 HU. NaN where there is no such group.
[[nodiscard]] double air_reading_hu(const Volume<std::int16_t>& hu);

}  // namespace leastharm
