#include "thresholds.h"

#include <algorithm>
#include <vector>

#include "denoise.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

LevelCounts smoothed(const LevelCounts& counts) {
  LevelCounts out{};
  for (std::size_t b = 1; b + 1 < counts.size(); ++b) out[b] = (counts[b - 1] + counts[b] + counts[b + 1]) / 3;
  return out;
}

int highest(const LevelCounts& counts, int from, int to) {
  const auto first = counts.begin() + from;
  return static_cast<int>(std::max_element(first, counts.begin() + to) - counts.begin());
}

}  // namespace

LevelCounts count_levels(const Volume<std::uint8_t>& levels, int threads) {
  const int slices = levels.grid.size[2];
  const std::size_t per_slice = levels.values.size() / static_cast<std::size_t>(slices);
  std::vector<LevelCounts> parts(static_cast<std::size_t>(slices));
  for_chunks(slices, 1, threads, [&](int k, int, int) {
    LevelCounts& part = parts[static_cast<std::size_t>(k)];
    const std::uint8_t* v = levels.values.data() + per_slice * static_cast<std::size_t>(k);
    for (std::size_t n = 0; n < per_slice; ++n) ++part[v[n]];
  });
  LevelCounts all{};
  for (const LevelCounts& part : parts)
    for (std::size_t b = 0; b < all.size(); ++b) all[b] += part[b];
  return all;
}

bool holds_fat(const LevelCounts& counts) {
  constexpr double kLeastShare = 0.07, kMostBeside = 0.5;
  const LevelCounts smooth = smoothed(counts);
  const auto count = [&](int from_hu, int to_hu) {
    double sum = 0;
    for (int level = level_of(from_hu); level < level_of(to_hu); ++level) sum += static_cast<double>(smooth[static_cast<std::size_t>(level)]);
    return sum;
  };
  const int lean = highest(smooth, level_of(-40), level_of(250));
  if (lean < level_of(10) || lean > level_of(90)) return false;
  const auto at = [&](int level) { return static_cast<double>(smooth[static_cast<std::size_t>(level)]); };
  return at(lean + 3) < kMostBeside * at(lean) && count(-140, -60) > kLeastShare * count(-150, 300);
}

int tissue_peak(const LevelCounts& counts) {
  return highest(smoothed(counts), level_of(holds_fat(counts) ? -20 : -200), level_of(250));
}

int tissue_threshold(const LevelCounts& counts) {
  const int fibre = highest(smoothed(counts), level_of(-900), level_of(-500));
  return std::clamp((fibre + tissue_peak(counts) + 1) / 2, level_of(-400), level_of(-250));
}

int mineral_threshold(const LevelCounts& counts) {
  const LevelCounts smooth = smoothed(counts);
  const int peak = tissue_peak(counts);
  const std::int64_t top = smooth[static_cast<std::size_t>(peak)];
  const int low = level_of(150), high = level_of(400);
  for (int b = std::max(peak + 2, low); b < high; ++b) {
    const auto at = static_cast<std::size_t>(b);
    const bool valley = smooth[at] <= smooth[at + 1] && smooth[at] <= smooth[at + 2] && smooth[at] * 12 < top;
    if (valley || smooth[at] * 40 < top) return b;
  }
  return level_of(300);
}

int fibre_threshold(const LevelCounts& fibre, int otherwise) {
  const LevelCounts smooth = smoothed(fibre);
  const int air = level_of(-1000), peak = highest(smooth, level_of(-930), level_of(-450));
  if (smooth[static_cast<std::size_t>(peak)] < 100) return otherwise;
  return (air + peak + 1) / 2;
}

}  // namespace leastharm::segment_detail
