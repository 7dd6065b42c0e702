#pragma once

#include <array>
#include <cstdint>

#include "imaging/grid.h"
#include "imaging/material.h"
#include "imaging/segmentation.h"
#include "thresholds.h"

namespace leastharm::segment_detail {

/// What a voxel's confidence is read from: its material, how many of its six neighbours hold another one, and how far its
/// level lies from where its kind of matter ends.
inline constexpr int kBorderSteps = 5;   ///< 0, 1, 2, 3, 4 or more neighbours
inline constexpr int kMarginSteps = 5;   ///< outside its range; 0-2, 3-5, 6-11, 12 or more levels inside it

[[nodiscard]] int margin_step(Material material, int level, const Thresholds& thresholds);

using ConfidenceTable = PerMaterial<std::array<std::array<std::uint8_t, kMarginSteps>, kBorderSteps>>;

/// The share of such voxels that are right, of 255, counted on invented bodies (command `map_table --calibrate`).
[[nodiscard]] const ConfidenceTable& confidence_table();

/// Turns levels into confidence, in place. A voxel without a reading gets 0.
void levels_to_confidence(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials,
                          const Thresholds& thresholds, const ConfidenceTable& table, int threads,
                          Volume<std::uint8_t>& levels);

/// `segment` with other confidences: for counting them anew.
[[nodiscard]] Segmentation segment_with(const Volume<std::int16_t>& hu, const ConfidenceTable& confidences, int threads);

}  // namespace leastharm::segment_detail
