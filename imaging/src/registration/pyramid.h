#pragma once

#include <cstdint>
#include <vector>

#include "imaging/grid.h"

namespace leastharm::registration_detail {

/// HU averaged over blocks of voxels, on the blocks' own grid.
struct Level {
  Grid grid;
  std::vector<float> hu;   ///< cut to air .. dense bone, so that metal does not outweigh everything
};

/// HU outside these limits say nothing more about where the object lies.
inline constexpr float kAirHu = -1000, kMostHu = 1000;

/// Blocks as near to `spacing_mm` as whole voxels allow, then one pass of 1-2-1 along each axis: without it, trilinear
/// reading between voxels pulls a fit towards the grid.
[[nodiscard]] Level make_level(const Volume<std::int16_t>& hu, double spacing_mm, int threads);

/// Share of 255 of each block of `level` whose labels fulfil `wanted` (indexed by label).
[[nodiscard]] std::vector<std::uint8_t> share_of(const Volume<std::uint8_t>& labels, const Level& level,
                                                 const std::vector<bool>& wanted, int threads);

/// HU at a place and its slope, HU/mm along LPS.
struct Reading {
  bool inside = false;   ///< of the level's grid
  double hu = kAirHu;
  Vec3 slope{0, 0, 0};
};

/// Trilinear readings of a level; quicker than asking its grid each time.
class Reader {
 public:
  explicit Reader(const Level& level);
  [[nodiscard]] Reading at(const Vec3& lps_mm) const;
  /// HU alone; air outside the grid.
  [[nodiscard]] double hu_at(const Vec3& lps_mm) const { return at(lps_mm).hu; }

 private:
  const float* hu_;
  std::array<int, 3> size_;
  std::ptrdiff_t row_, slice_;
  Mat3 index_from_offset_;   ///< from mm off the origin to voxels
  Mat3 slope_from_index_;
  Vec3 origin_;
};

}  // namespace leastharm::registration_detail
