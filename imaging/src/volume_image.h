#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"

namespace leastharm {

/// What a NRRD, NIfTI or MetaImage file says about itself.
struct ImageHeader {
  Grid grid;                        ///< as it will be used: LPS, right-handed
  std::string value_type;           ///< "short", "float", ...
  bool flip_slices = false;         ///< the file runs through the slices the other way
  std::vector<Finding> findings;
};

/// Whether the name ends like a NRRD, NIfTI or MetaImage file.
[[nodiscard]] bool is_image_file_name(const std::filesystem::path& path);

/// Reads and checks the header: three dimensions, one value a voxel, sound spacing, axes at right angles, a known
/// frame, and a file long enough for its voxels. Throws BadInput.
[[nodiscard]] ImageHeader read_image_header(const std::filesystem::path& path);

/// Reads the voxels as HU: rounded, held within +-32767, kNoReadingHu where the file has no number. Throws BadInput.
[[nodiscard]] std::vector<std::int16_t> read_image_hu(const std::filesystem::path& path,
                                                      const ImageHeader& header);
/// Reads the voxels as labels. Throws BadInput where a value is not a whole number from 0 to 255.
[[nodiscard]] std::vector<std::uint8_t> read_image_labels(const std::filesystem::path& path,
                                                          const ImageHeader& header);

}  // namespace leastharm
