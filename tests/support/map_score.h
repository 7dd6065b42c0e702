#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

#include "imaging/segmentation.h"

namespace leastharm::test {

/// Dice overlap of each material between a map and the truth; -1 where neither holds it.
inline PerMaterial<double> dice(const Volume<std::uint8_t>& map, const Volume<std::uint8_t>& truth) {
  PerMaterial<double> both{}, all{}, out{};
  for (std::size_t v = 0; v < map.values.size(); ++v) {
    ++all[map.values[v]];
    ++all[truth.values[v]];
    if (map.values[v] == truth.values[v]) ++both[map.values[v]];
  }
  for (std::size_t m = 0; m < kMaterialCount; ++m) out[m] = all[m] > 0 ? 2 * both[m] / all[m] : -1;
  return out;
}

/// Voxels, and those of them that are right, for each of 16 steps of confidence.
struct Calibration {
  std::array<double, 16> voxels{}, right{}, confidence_sum{};

  void add(const Segmentation& map, const Volume<std::uint8_t>& truth) {
    for (std::size_t v = 0; v < truth.values.size(); ++v) {
      const std::uint8_t c = map.confidence.values[v];
      ++voxels[c / 16];
      confidence_sum[c / 16] += c / 255.0;
      right[c / 16] += map.materials.values[v] == truth.values[v];
    }
  }
  [[nodiscard]] double mean_confidence(std::size_t step) const { return confidence_sum[step] / voxels[step]; }
  [[nodiscard]] double share_right(std::size_t step) const { return right[step] / voxels[step]; }
};

inline double angle_deg(const Vec3& a, const Vec3& b) {
  return std::acos(std::min(1.0, std::max(-1.0, a.dot(b)))) * 180 / std::numbers::pi;
}

}  // namespace leastharm::test
