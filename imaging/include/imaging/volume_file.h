#pragma once

#include <cstdint>
#include <filesystem>

#include "imaging/grid.h"

namespace leastharm {

/// Reads a label map or mask (NRRD, NIfTI, MetaImage, or DICOM SEG), in LPS. Throws BadInput.
[[nodiscard]] Volume<std::uint8_t> read_labels(const std::filesystem::path& path);

/// Writes an 8-bit volume; the ending says the format: .nrrd, .nii, .nii.gz, .mha. Whole or not at all: written beside,
/// flushed, renamed. No fields beyond the format's own. Same volume, same bytes. Throws BadInput on a full disk.
void write_labels(const Volume<std::uint8_t>& volume, const std::filesystem::path& path);

/// The same for HU.
void write_hu(const Volume<std::int16_t>& volume, const std::filesystem::path& path);

}  // namespace leastharm
