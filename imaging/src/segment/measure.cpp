#include "measure.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kLow = kLowestReadingHu, kHigh = 4500, kBins = kHigh - kLow;
constexpr int kDeviationBins = 200;

using Histogram = std::vector<std::int64_t>;

Histogram histogram_of(const Volume<std::int16_t>& hu, int threads) {
  const int slices = hu.grid.size[2], chunk = std::max(1, (slices + 31) / 32);
  const std::size_t per_slice = hu.grid.voxel_count() / static_cast<std::size_t>(slices);
  std::vector<std::vector<std::uint32_t>> parts(static_cast<std::size_t>((slices + chunk - 1) / chunk));
  for_chunks(slices, chunk, threads, [&](int c, int first, int last) {
    std::vector<std::uint32_t> part(kBins);
    const std::int16_t* from = hu.values.data() + per_slice * static_cast<std::size_t>(first);
    const std::int16_t* to = hu.values.data() + per_slice * static_cast<std::size_t>(last);
    for (; from != to; ++from)
      if (*from >= kLow) ++part[static_cast<std::size_t>(std::min<int>(*from, kHigh - 1) - kLow)];
    parts[static_cast<std::size_t>(c)] = std::move(part);
  });
  Histogram all(kBins);
  for (const auto& part : parts)
    for (std::size_t b = 0; b < all.size(); ++b) all[b] += part[b];
  return all;
}

/// The most frequent value of a histogram between two bins, after a running mean over 2 * half + 1 bins.
std::size_t peak_of(const Histogram& counts, std::size_t from, std::size_t to, std::size_t half) {
  std::int64_t best = -1;
  std::size_t where = from;
  for (std::size_t b = from; b < to; ++b) {
    std::int64_t sum = 0;
    for (std::size_t i = b < half ? 0 : b - half; i <= std::min(b + half, counts.size() - 1); ++i)
      sum += counts[i];
    if (sum > best) best = sum, where = b;
  }
  return where;
}

/// A scanner that cannot go lower piles its noise up in the lowest value. Removes that spike, which is not the peak of
/// air, unless it holds most of the air; returns the share of the air that it holds.
double drop_clipped_spike(Histogram& counts, std::size_t from, std::size_t to) {
  std::size_t lowest = from;
  while (lowest < to && counts[lowest] == 0) ++lowest;
  std::int64_t air = 0;
  for (std::size_t b = lowest; b < to; ++b) air += counts[b];
  if (lowest == to || counts[lowest] * 20 < air) return 0;
  const double share = static_cast<double>(counts[lowest]) / static_cast<double>(air);
  if (share < 0.5) counts[lowest] = 0;
  return share;
}

struct BlockStatistic {
  double mean = 0, deviation = 0;
  bool valid = false;
};

/// The spread of air above its peak alone: below it a scanner may clip.
double deviation_above(const Volume<std::int16_t>& hu, double air_hu, int i, int j, int k) {
  double squares = 0, count = 0;
  for (int c = 0; c < 4; ++c)
    for (int b = 0; b < 4; ++b) {
      const std::int16_t* row = hu.values.data() + hu.grid.offset(i, j + b, k + c);
      for (int a = 0; a < 4; ++a)
        if (row[a] > air_hu) squares += (row[a] - air_hu) * (row[a] - air_hu), ++count;
    }
  return count > 0 ? std::sqrt(squares / count) : 0;
}

BlockStatistic block_at(const Volume<std::int16_t>& hu, int i, int j, int k) {
  double sum = 0, squares = 0;
  for (int c = 0; c < 4; ++c)
    for (int b = 0; b < 4; ++b) {
      const std::int16_t* row = hu.values.data() + hu.grid.offset(i, j + b, k + c);
      for (int a = 0; a < 4; ++a) {
        if (row[a] < kLow || row[a] >= 3071) return {};
        sum += row[a];
        squares += static_cast<double>(row[a]) * row[a];
      }
    }
  const double mean = sum / 64, variance = std::max(0.0, (squares - sum * mean) / 63);
  return {mean, std::sqrt(variance), true};
}

/// Blocks' standard deviations, apart for air, loose fibre and everything denser.
std::array<Histogram, 3> deviations_of(const Volume<std::int16_t>& hu, double air_hu, int threads) {
  const auto& n = hu.grid.size;
  const int layers = std::max(0, (n[2] - 4) / 8 + 1);
  std::vector<std::array<Histogram, 3>> parts(static_cast<std::size_t>(layers));
  if (n[0] < 4 || n[1] < 4 || n[2] < 4) parts.clear();
  for_chunks(static_cast<int>(parts.size()), 1, threads, [&](int layer, int, int) {
    auto& part = parts[static_cast<std::size_t>(layer)];
    for (Histogram& h : part) h.assign(kDeviationBins, 0);
    for (int j = 0; j + 4 <= n[1]; j += 6)
      for (int i = 0; i + 4 <= n[0]; i += 6) {
        BlockStatistic block = block_at(hu, i, j, layer * 8);
        if (!block.valid || block.deviation >= kDeviationBins) continue;
        if (block.mean < air_hu + 60) block.deviation = deviation_above(hu, air_hu, i, j, layer * 8);
        if (block.deviation >= kDeviationBins) continue;
        const std::size_t kind = block.mean < air_hu + 60 ? 0 : block.mean < air_hu + 600 ? 1 : 2;
        ++part[kind][static_cast<std::size_t>(block.deviation)];
      }
  });
  std::array<Histogram, 3> all;
  for (Histogram& h : all) h.assign(kDeviationBins, 0);
  for (const auto& part : parts)
    for (std::size_t kind = 0; kind < 3; ++kind)
      for (std::size_t b = 0; b < kDeviationBins; ++b) all[kind][b] += part[kind][b];
  return all;
}

double noise_from(const std::array<Histogram, 3>& deviations, bool air_usable) {
  constexpr std::int64_t kLeastBlocks = 60;
  double best = std::numeric_limits<double>::infinity();
  for (std::size_t kind = air_usable ? 0 : 1; kind < 3; ++kind) {
    const Histogram& h = deviations[kind];
    const std::size_t peak = peak_of(h, 0, h.size(), 1);
    std::int64_t near = 0;
    for (std::size_t b = peak < 2 ? 0 : peak - 2; b <= std::min(peak + 2, h.size() - 1); ++b) near += h[b];
    if (near >= kLeastBlocks) best = std::min(best, static_cast<double>(peak) + 0.5);
  }
  return std::isfinite(best) ? best : 10.0;
}

}  // namespace

Readings measure_readings(const Volume<std::int16_t>& hu, int threads) {
  Histogram counts = histogram_of(hu, threads);
  constexpr std::size_t kFrom = 0, kTo = -850 - kLow;
  std::int64_t all = 0, near = 0;
  for (const std::int64_t c : counts) all += c;
  const double clipped = drop_clipped_spike(counts, kFrom, kTo);
  const std::size_t peak = peak_of(counts, kFrom, kTo, clipped >= 0.5 ? 2 : 8);
  for (std::size_t b = peak < 40 ? 0 : peak - 40; b <= peak + 40; ++b) near += counts[b];
  Readings readings;
  readings.air_found = near * 200 > all;
  if (readings.air_found) readings.air_hu = static_cast<double>(peak) + kLow;
  readings.noise_hu = noise_from(deviations_of(hu, readings.air_hu, threads), clipped < 0.5);
  return readings;
}

}  // namespace leastharm::segment_detail
