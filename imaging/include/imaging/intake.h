#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
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

/// What is known of a path while its headers are still being read. Numbers only grow.
struct InspectionSoFar {
  struct Images {
    std::string modality;
    std::size_t images = 0;                ///< that may belong to a volume
  };
  std::size_t files = 0;                   ///< found
  std::size_t read = 0;                    ///< of them, looked into
  std::map<std::string, Images> series;    ///< by series UID
  std::vector<std::string> set_aside;      ///< number of images and reason, e.g. "2 images set aside: a localizer"
  std::size_t broken = 0;                  ///< DICOM files that cannot be read
  std::string first_broken;                ///< one of them, and why
};

/// Called now and then while a path is read, on intake's own threads, one at a time.
using InspectionWatcher = std::function<void(const InspectionSoFar&)>;

/// A CT volume in HU. Read whole; never altered afterwards.
struct CtVolume {
  Volume<std::int16_t> hu;          ///< kNoReadingHu where the scanner gave padding
  std::string series_uid;
  std::string frame_of_reference_uid;               ///< empty where the file has none
  std::map<std::string, std::string> facts;         ///< allow-listed acquisition facts, e.g. "kVp": "120", "kernel": "B30f"
  std::string sha256;                               ///< of grid and HU: the same CT in another folder has the same
  double air_hu = 0;                                ///< what room air reads (air_reading_hu), after any shift that was asked for
  std::vector<Finding> findings;
};

/// Which volume to read from a path, and what may be passed over.
struct IntakeOptions {
  std::string series_uid;       ///< empty: the only usable one
  bool allow_gaps = false;      ///< go on over missing slices (filled by interpolation, and reported)
  bool correct_air = false;     ///< shift HU so that room air reads -1000
};

/// Lists what a path holds: a folder (any nesting), a DICOMDIR, one DICOM file, or one NRRD, NIfTI or MetaImage file.
/// Reads headers only, and tells the watcher on the way; the last call has all that it can tell. Throws BadInput where
/// the path does not exist or cannot be read, and what the watcher throws.
[[nodiscard]] Inspection inspect(const std::filesystem::path& path, const InspectionWatcher& watcher = {});

/// Reads one volume. Throws BadInput where there is no usable series, more than one and none named, an unknown uid,
/// or pixels that cannot be read (truncated, unknown coding).
[[nodiscard]] CtVolume read_ct(const std::filesystem::path& path, const IntakeOptions& options = {});

/// What room air reads: the middle of the lowest group of voxels that make up at least 1 % of the volume, with its peak
/// below -850 HU (lung and loose fibre lie above). Holds with air cut off at -1024 and for noise up to 60 HU. NaN where
/// there is no such group, as where the field shows nothing but the body.
[[nodiscard]] double air_reading_hu(const Volume<std::int16_t>& hu);

}  // namespace leastharm
