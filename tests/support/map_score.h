#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

#include "imaging/segmentation.h"

namespace leastharm::test {

/// Voxels of each material in a map, in the truth, and in both.
struct Overlap {
  PerMaterial<double> map{}, truth{}, both{};

  [[nodiscard]] double dice(std::size_t m) const { return 2 * both[m] / (map[m] + truth[m]); }
  /// All that is neither air nor support.
  [[nodiscard]] double object() const {
    double sum = 0;
    for (std::size_t m = 1; m < kMaterialCount; ++m) sum += m == static_cast<std::size_t>(Material::support) ? 0 : truth[m];
    return sum;
  }
};

inline Overlap overlap(const Volume<std::uint8_t>& map, const Volume<std::uint8_t>& truth) {
  Overlap out;
  for (std::size_t v = 0; v < map.values.size(); ++v) {
    ++out.map[map.values[v]];
    ++out.truth[truth.values[v]];
    if (map.values[v] == truth.values[v]) ++out.both[map.values[v]];
  }
  return out;
}

/// How far off the map's borders are, in voxels, where a material's Dice is all that is known: wrong voxels over border area. The
/// area is that of the truth's faces, counted along the three axes and divided by 1.5 (its mean over all directions).
inline PerMaterial<double> faces(const Volume<std::uint8_t>& truth) {
  PerMaterial<double> out{};
  const auto& n = truth.grid.size;
  const std::size_t row = static_cast<std::size_t>(n[0]), slice = row * static_cast<std::size_t>(n[1]);
  const auto look = [&](std::size_t a, std::size_t b) {
    if (truth.values[a] != truth.values[b]) ++out[truth.values[a]], ++out[truth.values[b]];
  };
  for (int k = 0; k < n[2]; ++k)
    for (int j = 0; j < n[1]; ++j)
      for (int i = 0; i < n[0]; ++i) {
        const std::size_t v = truth.grid.offset(i, j, k);
        if (i + 1 < n[0]) look(v, v + 1);
        if (j + 1 < n[1]) look(v, v + row);
        if (k + 1 < n[2]) look(v, v + slice);
      }
  return out;
}
inline double border_error_voxels(const Overlap& o, const PerMaterial<double>& faces, std::size_t m) {
  return 1.5 * (o.map[m] + o.truth[m] - 2 * o.both[m]) / std::max(1.0, faces[m]);
}

/// Voxels, and those of them that are right, for each tenth of confidence; each body counts as much as any other.
struct Calibration {
  static constexpr std::size_t kSteps = 10;
  std::array<double, kSteps> voxels{}, right{}, confidence_sum{};

  void add(const Segmentation& map, const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& truth) {
    const double weight = 1 / static_cast<double>(truth.values.size());
    for (std::size_t v = 0; v < truth.values.size(); ++v) {
      if (hu.values[v] == kNoReadingHu) continue;
      const std::uint8_t c = map.confidence.values[v];
      const std::size_t step = c * kSteps / 256;
      voxels[step] += weight;
      confidence_sum[step] += weight * c / 255.0;
      if (map.materials.values[v] == truth.values[v]) right[step] += weight;
    }
  }
  [[nodiscard]] double mean_confidence(std::size_t step) const { return confidence_sum[step] / voxels[step]; }
  [[nodiscard]] double share_right(std::size_t step) const { return right[step] / voxels[step]; }
  /// The largest gap between confidence and the share right, over the steps that hold one voxel in 2000.
  [[nodiscard]] double furthest_off() const {
    double all = 0, most = 0;
    for (const double n : voxels) all += n;
    for (std::size_t s = 0; s < kSteps; ++s)
      if (voxels[s] * 2000 >= all) most = std::max(most, std::abs(mean_confidence(s) - share_right(s)));
    return most;
  }
};

inline double angle_deg(const Vec3& a, const Vec3& b) {
  return std::acos(std::min(1.0, std::max(-1.0, a.dot(b)))) * 180 / std::numbers::pi;
}

}  // namespace leastharm::test
