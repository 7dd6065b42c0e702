#pragma once

#include <filesystem>

#include "imaging/mask.h"

namespace leastharm {

/// Writes a mask's surface as a closed triangle mesh, binary STL, LPS mm, outward normals: the level 1/2 between
/// voxel centres in and outside. Whole or not at all. Throws BadInput where the mask is empty or cannot be written.
void write_surface(const Mask& mask, const std::filesystem::path& path);

}  // namespace leastharm
