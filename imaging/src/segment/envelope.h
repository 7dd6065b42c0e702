#pragma once

#include <cstdint>
#include <vector>

#include "coarse.h"

namespace leastharm::segment_detail {

/// Which side of the body's envelope a block lies on.
enum class Side : std::uint8_t { wall, outside, inside };

/// Tells the blocks outside the body's envelope from those in its hollows.
///
/// `wall` is the body's tissue, bone and whatever else closes it; `air` are blocks of nothing but air; `support` is what it lies on.
/// From the air at the volume's border everything is reached along the widest way past the wall. A hollow counts as inside when it
/// is closed, or when it is much wider than the neck one must pass to get there: so an opening in the flank does not leak,
/// and the gap between an arm and the trunk, which only widens outward, is no hollow. The cut across an
/// opening falls on its neck (a watershed of the distance to the wall, after Meyer 1994, Signal Processing 38:113-125).
/// What fills a hollow that is broken open is inside, too (`filled_to_broken_ends`).
[[nodiscard]] std::vector<Side> envelope_sides(const Coarse& coarse,
                                               const std::vector<std::uint8_t>& wall,
                                               const std::vector<std::uint8_t>& air,
                                               const std::vector<std::uint8_t>& support, int threads);

}  // namespace leastharm::segment_detail
