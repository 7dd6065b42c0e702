#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "imaging/segmentation.h"

namespace leastharm::test {

/// Draws three sections through the object's middle along the grid's axes as a PNG: the CT, the map, the truth (where there
/// is one) and the confidence side by side. Materials have their own colour and hatch; the letters are the object's
/// own directions as proposed (R, L, A, P, H, F as in DICOM PS3.3 C.7.6.1.1.1). Throws BadInput where the file cannot be written.
void write_map_picture(const std::filesystem::path& file, const std::string& title, const Volume<std::int16_t>& hu,
                       const Segmentation& map, const Volume<std::uint8_t>* truth);

}  // namespace leastharm::test
