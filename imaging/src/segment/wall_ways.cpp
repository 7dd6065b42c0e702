#include "wall_ways.h"

#include <cstddef>
#include <cstdlib>

#include "parallel.h"
#include "ways.h"

namespace leastharm::segment_detail {

WallWays::WallWays(const Coarse& coarse, const std::vector<std::uint8_t>& wall, int threads)
    : coarse_(coarse), wall_(wall), threads_(threads), met_(coarse.count()) {
  look(false);
}

void WallWays::look(bool edges) {
  const std::vector<std::array<int, 3>> ways = all_ways();
  const auto wanted = [&](std::size_t w) { return (std::abs(ways[w][0]) + std::abs(ways[w][1]) + std::abs(ways[w][2]) == 2) == edges; };
  const auto follow = [&](std::size_t first, std::size_t last, std::uint32_t* met) {
    for (std::size_t w = first; w < last; ++w) {
      if (!wanted(w)) continue;
      const std::uint32_t bit = std::uint32_t{1} << w;
      along_way<std::uint8_t>(coarse_, ways[w], 0, [bit, met, wall = wall_.data()](std::size_t v, std::uint8_t beyond) {
        met[v] |= beyond ? bit : 0;
        return static_cast<std::uint8_t>(wall[v] | beyond);
      });
    }
  };
  std::vector<std::uint32_t> of_rest(met_.size());
  const std::size_t half = ways.size() / 2;   // the other half leads the other way
  side_by_side(threads_, [&] { follow(0, half, met_.data()); }, [&] { follow(half, ways.size(), of_rest.data()); });
  for (std::size_t v = 0; v < met_.size(); ++v) met_[v] |= of_rest[v];
  for (std::size_t w = 0; w < ways.size(); ++w)
    if (wanted(w)) looked_at_ |= std::uint32_t{1} << w;
}

}  // namespace leastharm::segment_detail
