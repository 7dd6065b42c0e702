#include "envelope.h"

#include <algorithm>
#include <array>
#include <bit>

#include "broken_ends.h"
#include "distance.h"
#include "parallel.h"
#include "runs.h"
#include "wall_ways.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kLevels = 256;
constexpr double kLevelsABlock = 4;       ///< distance levels a block's edge
constexpr int kHollowOverNeck10 = 16;     ///< a hollow is at least 1.6 times as wide as its neck...
constexpr int kLeastDepthLevels = 10;     ///< ...and this much wider in any case;
constexpr int kEnclosedWays = 13;         ///< but where so many of fourteen ways end at the wall,
constexpr int kLeastDepthEnclosed = 1;    ///< a little wider is enough

/// Floods from marked blocks in the order of falling distance to the wall.
class Flood {
 public:
  Flood(const Coarse& coarse, const std::vector<std::uint8_t>& depth)
      : coarse_(coarse), depth_(depth), marker_(depth.size()), neck_(depth.size()) {}

  void mark(std::size_t block, std::uint8_t marker) {
    if (marker_[block]) return;
    marker_[block] = marker;
    neck_[block] = depth_[block];
    queue_[depth_[block]].push_back(static_cast<std::uint32_t>(block));
  }
  void run() {
    for (int level = kLevels - 1; level > 0; --level)
      for (std::size_t q = 0; q < queue_[static_cast<std::size_t>(level)].size(); ++q)
        spread(queue_[static_cast<std::size_t>(level)][q], level);
  }
  [[nodiscard]] const std::vector<std::uint8_t>& marker() const { return marker_; }
  /// The narrowest place on the widest way to each block.
  [[nodiscard]] const std::vector<std::uint8_t>& neck() const { return neck_; }

 private:
  void spread(std::size_t block, int level) {
    const VoxelIndex v = coarse_.index(block);
    const auto width = static_cast<std::size_t>(coarse_.size[0]);
    const auto slice = width * static_cast<std::size_t>(coarse_.size[1]);
    const std::uint8_t marker = marker_[block];
    const auto reach = [&](std::size_t n) {
      if (marker_[n] || depth_[n] == 0) return;
      marker_[n] = marker;
      neck_[n] = static_cast<std::uint8_t>(std::min<int>(level, depth_[n]));
      queue_[neck_[n]].push_back(static_cast<std::uint32_t>(n));
    };
    if (v.i > 0) reach(block - 1);
    if (v.i + 1 < coarse_.size[0]) reach(block + 1);
    if (v.j > 0) reach(block - width);
    if (v.j + 1 < coarse_.size[1]) reach(block + width);
    if (v.k > 0) reach(block - slice);
    if (v.k + 1 < coarse_.size[2]) reach(block + slice);
  }

  const Coarse& coarse_;
  const std::vector<std::uint8_t>& depth_;
  std::vector<std::uint8_t> marker_, neck_;
  std::array<std::vector<std::uint32_t>, kLevels> queue_;
};

std::vector<std::uint8_t> depth_levels(const Coarse& coarse, const std::vector<float>& distance) {
  const auto scale = static_cast<float>(kLevelsABlock / coarse.spacing_mm.minCoeff());
  std::vector<std::uint8_t> depth(distance.size());
  for (std::size_t v = 0; v < depth.size(); ++v)
    depth[v] = static_cast<std::uint8_t>(std::min(distance[v] * scale, static_cast<float>(kLevels - 1)));
  return depth;
}

/// Blocks of the volume's border from which the surroundings are flooded: the largest open parts of the border that are
/// mostly pure air. A hollow that the border cuts through is smaller or holds something else.
std::vector<std::size_t> open_border(const Coarse& coarse, const std::vector<std::uint8_t>& wall,
                                     const std::vector<std::uint8_t>& air, int threads) {
  constexpr std::size_t kOverLargest = 4;
  std::vector<std::uint8_t> border(coarse.count());
  for (int k = 0; k < coarse.size[2]; ++k)
    for (int j = 0; j < coarse.size[1]; ++j) {
      const bool whole = k == 0 || k + 1 == coarse.size[2] || j == 0 || j + 1 == coarse.size[1];
      for (int i = 0; i < coarse.size[0]; i += whole ? 1 : std::max(1, coarse.size[0] - 1))
        border[coarse.offset(i, j, k)] = wall[coarse.offset(i, j, k)] == 0;
    }
  ByteSet one{};
  one[1] = true;
  const RunPieces pieces = pieces_of(coarse.size, border.data(), one, false, threads);
  const std::vector<std::size_t> sizes = pieces.sizes();
  std::vector<std::size_t> pure(sizes.size());
  for (const Run& run : pieces.runs)
    for (int i = run.first; i <= run.last; ++i) pure[static_cast<std::size_t>(run.piece)] += air[coarse.offset(i, run.j, run.k)];
  std::size_t largest = 0;
  for (std::size_t p = 0; p < sizes.size(); ++p)
    if (pure[p] * 2 >= sizes[p]) largest = std::max(largest, pure[p]);
  std::vector<std::size_t> open;
  for (const Run& run : pieces.runs) {
    const auto p = static_cast<std::size_t>(run.piece);
    if (pure[p] * 2 < sizes[p] || pure[p] * kOverLargest < largest) continue;
    for (int i = run.first; i <= run.last; ++i)
      if (air[coarse.offset(i, run.j, run.k)]) open.push_back(coarse.offset(i, run.j, run.k));
  }
  return open;
}

}  // namespace

std::vector<Side> envelope_sides(const Coarse& coarse, const std::vector<std::uint8_t>& wall,
                                 const std::vector<std::uint8_t>& air, const std::vector<std::uint8_t>& support, int threads) {
  const std::vector<float> distance = distance_mm(coarse, wall, threads);
  const std::vector<std::uint8_t> depth = depth_levels(coarse, distance);
  Flood out(coarse, depth);
  const std::vector<std::size_t> open = open_border(coarse, wall, air, threads);
  for (const std::size_t v : open)
    if (depth[v]) out.mark(v, 1);
  out.run();
  WallWays ways(coarse, wall, threads);   // in a room wall is met on all of fourteen or all but those through its door; in a fold of the surface on fewer
  std::vector<std::uint8_t> deep(depth.size());
  for (std::size_t v = 0; v < depth.size(); ++v)
    deep[v] = depth[v] && ((depth[v] * 10 >= out.neck()[v] * kHollowOverNeck10 && depth[v] >= out.neck()[v] + kLeastDepthLevels) ||
                           (std::popcount(ways.met()[v]) >= kEnclosedWays && depth[v] > out.neck()[v] + kLeastDepthEnclosed));
  Flood both(coarse, depth);
  for (const std::size_t v : open)
    if (depth[v] && !deep[v]) both.mark(v, 1);
  for (std::size_t v = 0; v < depth.size(); ++v)
    if (deep[v]) both.mark(v, 2);
  both.run();
  std::vector<std::uint8_t> outside(depth.size()), loose(depth.size());
  for (std::size_t v = 0; v < depth.size(); ++v) {
    outside[v] = both.marker()[v] == 1 && !support[v];
    loose[v] = outside[v] && !air[v];
  }
  const std::vector<std::uint8_t> filled = filled_to_broken_ends(coarse, ways, outside, loose, distance, threads);
  std::vector<Side> sides(depth.size(), Side::wall);
  for (std::size_t v = 0; v < depth.size(); ++v)
    if (both.marker()[v]) sides[v] = both.marker()[v] == 2 || filled[v] ? Side::inside : Side::outside;
  return sides;
}

}  // namespace leastharm::segment_detail
