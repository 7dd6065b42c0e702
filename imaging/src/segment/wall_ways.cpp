#include "wall_ways.h"

#include <cstddef>
#include <cstdlib>

#include "ways.h"

namespace leastharm::segment_detail {

WallWays::WallWays(const Coarse& coarse, const std::vector<std::uint8_t>& wall) : coarse_(coarse), wall_(wall), met_(coarse.count()) { look(false); }

void WallWays::look(bool edges) {
  const std::vector<std::array<int, 3>> ways = all_ways();
  for (std::size_t w = 0; w < ways.size(); ++w) {
    const bool edge = std::abs(ways[w][0]) + std::abs(ways[w][1]) + std::abs(ways[w][2]) == 2;
    if (edge != edges) continue;
    const std::uint32_t bit = std::uint32_t{1} << w;
    looked_at_ |= bit;
    along_way<std::uint8_t>(coarse_, ways[w], 0, [bit, met = met_.data(), wall = wall_.data()](std::size_t v, std::uint8_t beyond) {
      met[v] |= beyond ? bit : 0;
      return static_cast<std::uint8_t>(wall[v] | beyond);
    });
  }
}

}  // namespace leastharm::segment_detail
