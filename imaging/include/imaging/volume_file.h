#pragma once

#include <cstdint>
#include <filesystem>

#include "imaging/grid.h"
#include "imaging/mask.h"

namespace leastharm {

/// Reads a label map or mask (NRRD, NIfTI, or MetaImage), in LPS. Throws BadInput.
[[nodiscard]] Volume<std::uint8_t> read_labels(const std::filesystem::path& path);

/// Reads labels (also DICOM SEG) onto a CT's grid, whatever the order and direction of the file's own axes. A SEG's
/// segments count by material where each bears a material's name, else by number; fractions count from one half on,
/// and what it leaves out is 0. Throws BadInput where the file's voxels are not the grid's, where it (but for a SEG)
/// does not fill the grid, or where segments overlap.
[[nodiscard]] Volume<std::uint8_t> read_labels(const std::filesystem::path& path, const Grid& grid);

/// The same as one mask: every label above 0, every segment. Segments may overlap.
[[nodiscard]] Mask read_mask(const std::filesystem::path& path, const Grid& grid);

/// Writes an 8-bit volume; the ending says the format: .nrrd, .nii, .nii.gz, .mha. Whole or not at all: written beside,
/// flushed, renamed. No fields beyond the format's own. Same volume, same bytes. Throws BadInput on a full disk.
void write_labels(const Volume<std::uint8_t>& volume, const std::filesystem::path& path);

/// The same for HU.
void write_hu(const Volume<std::int16_t>& volume, const std::filesystem::path& path);

}  // namespace leastharm
