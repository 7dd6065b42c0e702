#pragma once

#include <cstdint>

#include "imaging/grid.h"
#include "measure.h"

namespace leastharm::segment_detail {

/// HU in 256 steps of 16 from -1024, air put to -1000. Small enough to keep one for every voxel.
inline constexpr int kHuPerLevel = 16;
[[nodiscard]] constexpr int level_of(int hu) {
  const int level = (hu + 1024 + kHuPerLevel / 2) / kHuPerLevel;
  return level < 0 ? 0 : level > 255 ? 255 : level;
}
[[nodiscard]] constexpr int hu_of(int level) { return level * kHuPerLevel - 1024; }

/// HU smoothed where the noise asks for it and edges kept: each voxel becomes the mean of those of its 26
/// neighbours that differ from it by no more than noise can (Lee 1983, "Digital image smoothing and the sigma filter",
/// Computer Vision, Graphics, and Image Processing 24:255-269). Voxels without a reading count as air.
[[nodiscard]] Volume<std::uint8_t> denoised_levels(const Volume<std::int16_t>& hu, const Readings& readings,
                                                   int threads);

}  // namespace leastharm::segment_detail
