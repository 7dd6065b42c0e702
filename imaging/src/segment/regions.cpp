#include "regions.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "distance.h"
#include "runs.h"

namespace leastharm::segment_detail {

double median(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double LevelStatistic::deviation() const {
  if (count < 2) return 0;
  const double m = mean();
  return std::sqrt(std::max(0.0, static_cast<double>(squares) / static_cast<double>(count) - m * m));
}

LevelStatistic statistic_of(const Volume<std::uint8_t>& levels, const Coarse& coarse, std::size_t block) {
  LevelStatistic s;
  for_voxels(coarse, levels.grid, block, [&](std::size_t v) { s.add(levels.values[v]); });
  return s;
}

namespace {

double window_variation(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& set,
                        double noise_hu, const VoxelIndex& low, int edge) {
  double mean = 0, squares = 0;
  for (int c = 0; c < edge; ++c)
    for (int b = 0; b < edge; ++b)
      for (int a = 0; a < edge; ++a) {
        const std::size_t v = coarse.offset(low.i + a, low.j + b, low.k + c);
        if (!set[v]) return std::numeric_limits<double>::infinity();
        const double m = shares.mean_hu[v], d = shares.deviation_hu[v];
        mean += m;
        squares += m * m + d * d;
      }
  const double blocks = edge * edge * edge;
  mean /= blocks;
  return std::sqrt(std::max(0.0, squares / blocks - mean * mean - noise_hu * noise_hu));
}

/// A variance is known to noise² sqrt(2/n) from n voxels: too few of them feign or hide unevenness.
double feigned_hu(const Coarse& coarse, double noise_hu, int edge) {
  const double voxels = static_cast<double>(edge * edge * edge) * coarse.factor[0] * coarse.factor[1] * coarse.factor[2];
  return noise_hu * std::sqrt(std::sqrt(2 / voxels));
}

int window_edge(const Coarse& coarse, double noise_hu) {
  constexpr double kWellKnown_hu = 12;
  return feigned_hu(coarse, noise_hu, 2) > kWellKnown_hu ? 3 : 2;
}

}  // namespace

double least_variation_hu(const Coarse& coarse, double noise_hu) {
  return feigned_hu(coarse, noise_hu, window_edge(coarse, noise_hu));
}

std::vector<float> variation_hu(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& set,
                                double noise_hu) {
  const int edge = window_edge(coarse, noise_hu);
  std::vector<float> variation(coarse.count(), std::numeric_limits<float>::infinity());
  for (int k = 0; k + edge <= coarse.size[2]; ++k)
    for (int j = 0; j + edge <= coarse.size[1]; ++j)
      for (int i = 0; i + edge <= coarse.size[0]; ++i) {
        const auto window = static_cast<float>(window_variation(coarse, shares, set, noise_hu, {i, j, k}, edge));
        if (!std::isfinite(window)) continue;
        for (int c = 0; c < edge; ++c)
          for (int b = 0; b < edge; ++b)
            for (int a = 0; a < edge; ++a) {
              float& v = variation[coarse.offset(i + a, j + b, k + c)];
              v = std::min(v, window);
            }
      }
  return variation;
}

double half_thickness_mm(const Coarse& coarse, const std::vector<std::uint8_t>& set, int threads) {
  std::vector<std::uint8_t> rest(set.size());
  for (std::size_t v = 0; v < set.size(); ++v) rest[v] = set[v] == 0;
  float most = 0;
  for (const float d : distance_mm(coarse, rest, threads))
    if (std::isfinite(d)) most = std::max(most, d);
  return static_cast<double>(most);
}

std::vector<Core> cores_of(const Coarse& coarse, const std::vector<std::uint8_t>& set, double inset_mm, int threads) {
  std::vector<std::uint8_t> rest(set.size());
  for (std::size_t v = 0; v < set.size(); ++v) rest[v] = set[v] == 0;
  const std::vector<float> depth = distance_mm(coarse, rest, threads);
  std::vector<std::uint8_t> deep(set.size());
  for (std::size_t v = 0; v < set.size(); ++v) deep[v] = set[v] && depth[v] > static_cast<float>(inset_mm);
  ByteSet one{};
  one[1] = true;
  const RunPieces pieces = pieces_of(coarse.size, deep.data(), one, false, threads);
  std::vector<Core> cores(static_cast<std::size_t>(pieces.pieces));
  for (const Run& run : pieces.runs)
    for (int i = run.first; i <= run.last; ++i) {
      const std::size_t v = coarse.offset(i, run.j, run.k);
      Core& core = cores[static_cast<std::size_t>(run.piece)];
      core.blocks.push_back(v);
      if (std::isfinite(depth[v])) core.depth_mm = std::max(core.depth_mm, static_cast<double>(depth[v]));
    }
  return cores;
}

namespace {

template <typename Visit>
void for_faces(const Coarse& coarse, std::size_t block, const Visit& visit) {
  const VoxelIndex b = coarse.index(block);
  constexpr int kSteps[6][3] = {{-1, 0, 0}, {1, 0, 0}, {0, -1, 0}, {0, 1, 0}, {0, 0, -1}, {0, 0, 1}};
  for (const auto& s : kSteps)
    if (coarse.contains(b.i + s[0], b.j + s[1], b.k + s[2])) visit(coarse.offset(b.i + s[0], b.j + s[1], b.k + s[2]));
}

}  // namespace

std::vector<std::size_t> spread_in(const Coarse& coarse, const std::vector<std::uint8_t>& set,
                                   const std::vector<std::size_t>& core, int reach) {
  std::vector<std::uint8_t> taken(set.size());
  std::vector<std::size_t> out = core;
  for (const std::size_t v : core) taken[v] = 1;
  std::size_t first = 0;
  for (int step = 0; step < reach; ++step) {
    const std::size_t last = out.size();
    for (; first < last; ++first)
      for_faces(coarse, out[first], [&](std::size_t n) {
        if (!set[n] || taken[n]) return;
        taken[n] = 1;
        out.push_back(n);
      });
  }
  return out;
}

std::vector<std::size_t> ring_of(const Coarse& coarse, std::size_t block) {
  const VoxelIndex at = coarse.index(block);
  std::vector<std::size_t> ring;
  for (int c = -1; c <= 1; ++c)
    for (int b = -1; b <= 1; ++b)
      for (int a = -1; a <= 1; ++a)
        if ((a || b || c) && coarse.contains(at.i + a, at.j + b, at.k + c))
          ring.push_back(coarse.offset(at.i + a, at.j + b, at.k + c));
  return ring;
}

std::vector<std::size_t> ring_of(const Coarse& coarse, const std::vector<std::size_t>& blocks) {
  std::vector<std::uint8_t> taken(coarse.count());
  for (const std::size_t v : blocks) taken[v] = 1;
  std::vector<std::size_t> ring;
  for (const std::size_t v : blocks)
    for (const std::size_t n : ring_of(coarse, v)) {
      if (taken[n]) continue;
      taken[n] = 1;
      ring.push_back(n);
    }
  return ring;
}

}  // namespace leastharm::segment_detail
