#include "broken_ends.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "regions.h"
#include "ways.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::size_t kLeastBlocks = 64;
constexpr double kLeastDepth = 3;   ///< blocks from its middle to the wall: gaps beside arms and legs that thin linen spans are narrower
constexpr double kMostMore = 1.3;   ///< what is joined to a filling through its mouth, itself included; linen outside makes it 3.4 or more

/// The eight ways along a plane through a block.
using Round = std::array<std::array<int, 3>, 8>;

/// Planes normal to an axis, or to the diagonal of two.
std::vector<Round> planes() {
  constexpr int kNormals[9][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 1, 0}, {1, -1, 0}, {1, 0, 1}, {1, 0, -1}, {0, 1, 1}, {0, 1, -1}};
  std::vector<Round> all;
  for (const auto& n : kNormals) {
    Round round{};
    std::size_t ways = 0;
    for (const int c : {-1, 0, 1})
      for (const int b : {-1, 0, 1})
        for (const int a : {-1, 0, 1})
          if ((a || b || c) && a * n[0] + b * n[1] + c * n[2] == 0) round[ways++] = {a, b, c};
    all.push_back(round);
  }
  return all;
}

/// Blocks of a set that have wall on all ways along some plane.
std::vector<std::uint8_t> walled_round(const Coarse& coarse, const std::vector<std::uint8_t>& wall, const std::vector<std::uint8_t>& set) {
  std::vector<std::uint8_t> walled(coarse.count()), met(coarse.count());
  for (const Round& round : planes()) {
    std::fill(met.begin(), met.end(), std::uint8_t{0});
    for (const std::array<int, 3>& way : round)
      along_way<std::uint8_t>(coarse, way, 0, [m = met.data(), w = wall.data()](std::size_t v, std::uint8_t beyond) {
        m[v] = static_cast<std::uint8_t>(m[v] + beyond);
        return static_cast<std::uint8_t>(w[v] | beyond);
      });
    for (std::size_t v = 0; v < met.size(); ++v) walled[v] |= static_cast<std::uint8_t>(set[v] && met[v] == round.size());
  }
  return walled;
}

}  // namespace

std::vector<std::uint8_t> filled_to_broken_ends(const Coarse& coarse, const std::vector<std::uint8_t>& wall,
                                                const std::vector<std::uint8_t>& outside, const std::vector<std::uint8_t>& loose,
                                                const std::vector<float>& distance_mm, int threads) {
  std::vector<std::uint8_t> filled(coarse.count());
  for (const Core& core : cores_of(coarse, walled_round(coarse, wall, outside), 0, threads)) {
    if (core.blocks.size() < kLeastBlocks) continue;
    float depth_mm = 0;
    for (const std::size_t v : core.blocks) depth_mm = std::max(depth_mm, distance_mm[v]);
    const double depth = static_cast<double>(depth_mm) / coarse.spacing_mm.minCoeff();
    if (depth < kLeastDepth) continue;
    const int reach = 1 + static_cast<int>(std::ceil(depth));   // a slanting mouth reaches no further
    const std::vector<std::size_t> joined = spread_in(coarse, loose, core.blocks, reach);
    if (static_cast<double>(joined.size()) > kMostMore * static_cast<double>(core.blocks.size())) continue;
    for (const std::size_t v : joined) filled[v] = 1;
  }
  return filled;
}

}  // namespace leastharm::segment_detail
