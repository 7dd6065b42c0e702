#include "wall_ways.h"

#include <cstddef>
#include <cstdlib>

#include "ways.h"

namespace leastharm::segment_detail {
namespace {

/// Whether a way leads through an edge.
bool through_edge(const std::array<int, 3>& way) { return std::abs(way[0]) + std::abs(way[1]) + std::abs(way[2]) == 2; }

}  // namespace

WallWays::WallWays(const Coarse& coarse, const std::vector<std::uint8_t>& wall, int threads)
    : coarse_(coarse), wall_(wall), threads_(threads), met_(coarse.count()) {
  look(false);
}

void WallWays::look(bool edges) {
  const std::vector<std::array<int, 3>> ways = all_ways();
  follow_ways(ways.size(), threads_, met_, [&](std::size_t w, std::uint32_t* met) {
    if (through_edge(ways[w]) != edges) return;
    const std::uint32_t bit = std::uint32_t{1} << w;
    along_way<std::uint8_t>(coarse_, ways[w], 0, [bit, met, wall = wall_.data()](std::size_t v, std::uint8_t beyond) {
      met[v] |= beyond ? bit : 0;
      return static_cast<std::uint8_t>(wall[v] | beyond);
    });
  });
  for (std::size_t w = 0; w < ways.size(); ++w)
    if (through_edge(ways[w]) == edges) looked_at_ |= std::uint32_t{1} << w;
}

}  // namespace leastharm::segment_detail
