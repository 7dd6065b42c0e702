#pragma once

#include <cstdint>

#include "imaging/grid.h"
#include "scene.h"

namespace leastharm::phantom {

struct ScannerSettings {
  Grid grid;
  Move lps_from_scene;         ///< scale 1
  double noise_hu = 20;
  double hu_offset = 0;
  std::uint64_t seed = 1;
  std::uint64_t scan = 0;      ///< counts scans of the same body: each has noise of its own
  unsigned threads = 0;
};

struct Scan {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> truth;
};

/// Samples the scene inside every voxel (2 to 4 points along each axis), blurs each plane by 0.8 mm full width at half
/// maximum, averages over the voxel and over a slice profile as wide as the slices are apart, adds noise
/// with the power spectrum of filtered back-projection, rounds, and clips to -1024..3071.
[[nodiscard]] Scan scan(const Scene& scene, const ScannerSettings& settings);

}  // namespace leastharm::phantom
