#pragma once

#include <array>
#include <cstdint>

#include "coarse.h"

namespace leastharm::segment_detail {

using LevelCounts = std::array<std::int64_t, 256>;

[[nodiscard]] LevelCounts count_levels(const Volume<std::uint8_t>& levels, int threads);

/// Where tissue ends and mineral begins: the valley above tissue's peak, else where the peak has run out.
[[nodiscard]] int mineral_threshold(const LevelCounts& counts);
/// Half way between the commonest levels of fibre (or wood) and of tissue.
[[nodiscard]] int tissue_threshold(const LevelCounts& counts);
/// The commonest level of tissue; where there is fat, of lean tissue.
[[nodiscard]] int tissue_peak(const LevelCounts& counts);
/// Whether tissue is a living body's: lean tissue of even HU near +50, and a good share of fat near -100. What dried
/// is uneven, and its fat is lost or mixed with the rest.
[[nodiscard]] bool holds_fat(const LevelCounts& counts);

/// Half way between air and the commonest level of loose fibre; `otherwise` where there is too little fibre to say.
[[nodiscard]] int fibre_threshold(const LevelCounts& fibre, int otherwise);

}  // namespace leastharm::segment_detail
