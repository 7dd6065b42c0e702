#pragma once

#include <array>
#include <cstdint>

#include "imaging/grid.h"
#include "imaging/material.h"
#include "imaging/segmentation.h"
#include "thresholds.h"

namespace leastharm::segment_detail {

/// What a voxel's confidence is read from.
/// Amid its own material: how far its level lies from where its kind of matter ends.
/// At a border: its material, the one beyond, how many of its six neighbours hold another material than its own, and how far its
/// level lies on the way from what is usual beyond (0) to what is usual on its own side (1).
inline constexpr std::size_t kMarginSteps = 5;    ///< outside its range; 0-2, 3-5, 6-11, 12 or more levels inside it
inline constexpr std::size_t kCrowdSteps = 3;     ///< 1 or 2, 3 or 4, 5 or 6 neighbours
inline constexpr std::size_t kWaySteps = 6;       ///< below 0.3, 0.5, 0.65, 0.8, 0.95, and above

struct ConfidenceTable {
  PerMaterial<std::array<std::uint8_t, kMarginSteps>> amid{};
  PerMaterial<PerMaterial<std::array<std::array<std::uint8_t, kWaySteps>, kCrowdSteps>>> border{};   ///< [own][beyond]
};

/// The share of such voxels that are right, of 255, counted on invented bodies (command `map_table --calibrate`).
[[nodiscard]] const ConfidenceTable& confidence_table();

/// Turns levels into confidence, in place. A voxel without a reading gets 0.
void levels_to_confidence(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials,
                          const Thresholds& thresholds, const ConfidenceTable& table, int threads,
                          Volume<std::uint8_t>& levels);

/// `segment` with other confidences: for counting them anew.
[[nodiscard]] Segmentation segment_with(const Volume<std::int16_t>& hu, const ConfidenceTable& confidences, int threads);

}  // namespace leastharm::segment_detail
