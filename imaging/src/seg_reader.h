#pragma once

#include <cstdint>
#include <filesystem>

#include "imaging/grid.h"

namespace leastharm {

/// Reads a DICOM segmentation (PS3.3, A.51; binary, fractional, or label map; not compressed) onto a grid. Its frames
/// may come in any order, and need cover only a part. A segment whose label is a material's name becomes that material
/// where all labels are, else its number counts; `as_mask`: all count as 1. Throws BadInput.
[[nodiscard]] Volume<std::uint8_t> read_dicom_seg(const std::filesystem::path& path, const Grid& grid, bool as_mask);

}  // namespace leastharm
