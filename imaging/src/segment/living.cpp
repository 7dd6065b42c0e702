#include "living.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "distance.h"
#include "runs.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kSolidShare = 128;            // of 255
constexpr float kOuterShare = 0.1F;         // of the body's half thickness: the layer under the skin,
constexpr float kDeepShare = 0.35F;         // and from here on what lies deep
constexpr std::size_t kLeastBlocks = 150;   // of each
constexpr int kLeastFat_hu = -150, kMostFat_hu = -15, kLeastLean_hu = 0, kMostLean_hu = 160, kLeastStep_hu = 60;

/// Blocks that are reached from the volume's border without passing through anything solid.
std::vector<std::uint8_t> outside_blocks(const Coarse& coarse, const Shares& shares, int threads) {
  std::vector<std::uint8_t> open(coarse.count());
  for (std::size_t v = 0; v < open.size(); ++v) open[v] = shares.tissue[v] < kSolidShare;
  ByteSet one{};
  one[1] = true;
  const RunPieces pieces = pieces_of(coarse.size, open.data(), one, false, threads);
  std::vector<std::uint8_t> at_border(static_cast<std::size_t>(pieces.pieces));
  for (const Run& run : pieces.runs) {
    const bool border = run.first == 0 || run.last + 1 == coarse.size[0] || run.j == 0 || run.j + 1 == coarse.size[1];
    if (border) at_border[static_cast<std::size_t>(run.piece)] = 1;
  }
  std::fill(open.begin(), open.end(), std::uint8_t{0});
  for (const Run& run : pieces.runs)
    if (at_border[static_cast<std::size_t>(run.piece)])
      std::fill_n(open.begin() + static_cast<std::ptrdiff_t>(coarse.offset(run.first, run.j, run.k)), run.length(), std::uint8_t{1});
  return open;
}

int median(std::vector<int>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

bool fat_under_skin(const Coarse& coarse, const Shares& shares, int threads) {
  const std::vector<float> depth = distance_mm(coarse, outside_blocks(coarse, shares, threads), threads);
  float most = 0;
  for (const float d : depth)
    if (std::isfinite(d)) most = std::max(most, d);
  const float outer = std::max(kOuterShare * most, 1.6F * static_cast<float>(coarse.spacing_mm.minCoeff()));
  std::vector<int> fat, lean;
  for (std::size_t v = 0; v < depth.size(); ++v) {
    if (shares.tissue[v] < 255 || shares.mineral[v] > 0 || !std::isfinite(depth[v])) continue;
    if (depth[v] <= outer) fat.push_back(shares.mean_hu[v]);
    else if (depth[v] >= kDeepShare * most) lean.push_back(shares.mean_hu[v]);
  }
  if (std::min(fat.size(), lean.size()) < kLeastBlocks) return false;
  const int skin_hu = median(fat), deep_hu = median(lean);
  return skin_hu >= kLeastFat_hu && skin_hu <= kMostFat_hu && deep_hu >= kLeastLean_hu && deep_hu <= kMostLean_hu &&
         deep_hu - skin_hu >= kLeastStep_hu;
}

}  // namespace leastharm::segment_detail
