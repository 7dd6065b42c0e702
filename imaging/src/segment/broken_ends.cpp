#include "broken_ends.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "regions.h"
#include "runs.h"
#include "ways.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::size_t kLeastBlocks = 64;
constexpr double kLeastDepth = 3;   ///< blocks from its middle to the wall: gaps beside arms and legs that thin linen spans are narrower
constexpr double kMostMore = 1.4;   ///< what is joined to a filling through its mouth, itself included; linen outside made it 1.48 or more

/// The ways along planes normal to an axis, or to the diagonal of two: eight a plane, a bit each.
std::vector<std::uint32_t> planes() {
  constexpr int kNormals[9][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 1, 0}, {1, -1, 0}, {1, 0, 1}, {1, 0, -1}, {0, 1, 1}, {0, 1, -1}};
  const std::vector<std::array<int, 3>> ways = all_ways();
  std::vector<std::uint32_t> all;
  for (const auto& n : kNormals) {
    all.push_back(0);
    for (std::size_t w = 0; w < ways.size(); ++w)
      if (ways[w][0] * n[0] + ways[w][1] * n[1] + ways[w][2] * n[2] == 0) all.back() |= std::uint32_t{1} << w;
  }
  return all;
}

/// Blocks of a set that have wall all round along some plane, as far as was looked.
std::vector<std::uint8_t> walled_round(const WallWays& ways, const std::vector<std::uint8_t>& set) {
  std::vector<std::uint32_t> all = planes();
  for (std::uint32_t& plane : all) plane &= ways.looked_at();
  std::vector<std::uint8_t> walled(set.size());
  for (std::size_t v = 0; v < walled.size(); ++v)
    walled[v] = set[v] && std::any_of(all.begin(), all.end(), [met = ways.met()[v]](std::uint32_t plane) { return (met & plane) == plane; });
  return walled;
}

std::vector<std::vector<std::size_t>> pieces_in(const Coarse& coarse, const std::vector<std::uint8_t>& set, int threads) {
  ByteSet one{};
  one[1] = true;
  const RunPieces runs = pieces_of(coarse.size, set.data(), one, false, threads);
  std::vector<std::vector<std::size_t>> pieces(static_cast<std::size_t>(runs.pieces));
  for (const Run& run : runs.runs)
    for (int i = run.first; i <= run.last; ++i) pieces[static_cast<std::size_t>(run.piece)].push_back(coarse.offset(i, run.j, run.k));
  return pieces;
}

}  // namespace

std::vector<std::uint8_t> filled_to_broken_ends(const Coarse& coarse, WallWays& ways, const std::vector<std::uint8_t>& outside,
                                                const std::vector<std::uint8_t>& loose, const std::vector<float>& distance_mm, int threads) {
  std::vector<std::uint8_t> filled(coarse.count()), deep(coarse.count());
  const double least_mm = kLeastDepth * coarse.spacing_mm.minCoeff();
  for (std::size_t v = 0; v < deep.size(); ++v) deep[v] = outside[v] && static_cast<double>(distance_mm[v]) >= least_mm;
  const std::vector<std::uint8_t> perhaps = walled_round(ways, deep);
  if (std::none_of(perhaps.begin(), perhaps.end(), [](std::uint8_t p) { return p != 0; })) return filled;   // in most bodies
  ways.look_through_edges();
  for (const std::vector<std::size_t>& piece : pieces_in(coarse, walled_round(ways, outside), threads)) {
    if (piece.size() < kLeastBlocks) continue;
    float depth_mm = 0;
    for (const std::size_t v : piece) depth_mm = std::max(depth_mm, distance_mm[v]);
    if (static_cast<double>(depth_mm) < least_mm) continue;
    const int reach = 1 + static_cast<int>(std::ceil(static_cast<double>(depth_mm) / coarse.spacing_mm.minCoeff()));   // a slanting mouth reaches no further
    const std::vector<std::size_t> joined = spread_in(coarse, loose, piece, reach);
    if (static_cast<double>(joined.size()) > kMostMore * static_cast<double>(piece.size())) continue;
    for (const std::size_t v : joined) filled[v] = 1;
  }
  return filled;
}

}  // namespace leastharm::segment_detail
