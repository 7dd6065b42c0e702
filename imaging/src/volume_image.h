#pragma once

#include <Eigen/Geometry>
#include <array>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"

namespace leastharm {

/// Types of voxels that volume files hold.
enum class ValueType { int8, uint8, int16, uint16, int32, uint32, float32, float64 };

/// Where a NRRD, NIfTI or MetaImage file keeps its voxels, and what its header says of them.
struct VolumeHeader {
  std::filesystem::path data_file;      ///< the file itself, or the one that it names
  std::uint64_t data_at = 0;            ///< in the file; where the whole file is packed, in its content
  bool packed = false;                  ///< zlib or gzip, from `data_at` on
  bool whole_file_packed = false;       ///< header and all
  ValueType type = ValueType::int16;
  bool big_endian = false;
  double slope = 1, intercept = 0;      ///< stored value to HU
  std::array<long, 3> size{0, 0, 0};
  Eigen::Affine3d lps_from_index = Eigen::Affine3d::Identity();   ///< mm
  std::vector<Finding> findings;

  Grid grid;                            ///< from the above: right-handed
  bool flip_slices = false;             ///< the file runs through the slices the other way than the grid
};

/// Whether the name ends like a NRRD, NIfTI or MetaImage file.
[[nodiscard]] bool is_volume_file_name(const std::filesystem::path& path);

/// Reads and checks a header: three dimensions, one value a voxel, sound spacing, axes at right angles, a known
/// frame, and a file long enough for its voxels. Throws BadInput.
[[nodiscard]] VolumeHeader read_volume_header(const std::filesystem::path& path);

/// Each format's own header, unchecked. They throw BadInput where they do not understand it.
[[nodiscard]] VolumeHeader read_nrrd_header(const std::filesystem::path& path);
[[nodiscard]] VolumeHeader read_nifti_header(const std::filesystem::path& path);
[[nodiscard]] VolumeHeader read_meta_header(const std::filesystem::path& path);

/// Reads the voxels as HU: rounded, held within +-32767, kNoReadingHu where the file has no number or one that no
/// scanner measures. Throws BadInput.
[[nodiscard]] std::vector<std::int16_t> read_hu_values(const VolumeHeader& header);
/// Reads the voxels as labels. Throws BadInput where a value is not a whole number from 0 to 255.
[[nodiscard]] std::vector<std::uint8_t> read_label_values(const VolumeHeader& header);

}  // namespace leastharm
