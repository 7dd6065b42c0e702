#pragma once

#include <cstddef>
#include <string>

#include "imaging/grid.h"

namespace leastharm {

/// The header of a NIfTI-1 file in one piece, up to its voxels: RAS, mm, the place as qform and sform alike.
/// `voxel_bytes` is 1 (unsigned labels) or 2 (signed HU).
[[nodiscard]] std::string nifti_header(const Grid& grid, std::size_t voxel_bytes);

}  // namespace leastharm
