#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "slice.h"

namespace leastharm {

/// HU, materials and confidence on a plane, row by row. Kept between repaints: its buffers are used
/// again.
struct PlaneCut {
  SlicePlane plane;
  std::vector<float> hu;
  std::vector<std::uint8_t> material;    ///< `kUnmeasured` where the scan has no reading
  std::vector<std::uint8_t> confidence;  ///< 255 = sure; empty where it was not asked for
};
inline constexpr std::uint8_t kUnmeasured = 255;

/// Cuts the body along a plane. HU are trilinear; a pixel's material is the one with the largest
/// trilinear share, so that borders run smoothly between voxel centres; confidence is that of the
/// nearest voxel. 1 to 6 ns of one core a pixel, the less the finer the picture is against the voxels.
void cut_plane(const Body& body, const SlicePlane& plane, bool with_confidence, PlaneCut& into);

/// How a cut is shown.
struct Tone {
  GreyScale scale;
  bool hatches = false;     ///< tint and hatch of each material over the grey
  bool confidence = false;  ///< specks where the map is unsure, the denser the less sure
  bool outlines = true;     ///< borders between materials in their colours
  int outline_px = 1;
};

/// Paints a cut as 0x00RRGGBB, one value a pixel. `pixels` is as long as the cut.
void paint_cut(const PlaneCut& cut, const Tone& tone, std::span<std::uint32_t> pixels);

/// Each pixel of a coarse picture as 2 x 2 of a fine one of `width` columns; where these are odd, the last ones are cut
/// short.
void double_pixels(std::span<const std::uint32_t> coarse, int width, std::span<std::uint32_t> pixels);

}  // namespace leastharm
