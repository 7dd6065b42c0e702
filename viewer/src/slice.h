#pragma once

#include <cairo.h>

#include <cstdint>
#include <string>
#include <vector>

#include "ink.h"
#include "planner/body.h"

namespace leastharm {

/// HU that print black and white, linear between.
struct GreyScale {
  double black_hu = -1000, white_hu = 500;
};

/// A flat cut through the volume, laid out as an image.
struct SlicePlane {
  Vec3 corner_lps_mm;  ///< centre of the top left pixel
  Vec3 right, down;    ///< unit, square to each other
  double mm_per_px = 0.5;
  int width = 0, height = 0;

  [[nodiscard]] Vec3 at(double column, double row) const {
    return corner_lps_mm + mm_per_px * (column * right + row * down);
  }
  /// The same plane with one pixel in the middle of every `step` x `step` pixels.
  [[nodiscard]] SlicePlane coarser(int step) const {
    const double middle = (step - 1) / 2.0;
    return {at(middle, middle), right, down, mm_per_px * step, (width + step - 1) / step, (height + step - 1) / step};
  }
};
/// A plane of `width_mm` x `height_mm` about a centre, sampled for `width_pt` of paper.
[[nodiscard]] SlicePlane plane_about(const Vec3& centre, const Vec3& right, const Vec3& down,
                                     double width_mm, double height_mm, double width_pt);

/// Grey levels and materials on a plane. HU are trilinear; a pixel's material is the one with the
/// largest trilinear share, so that borders run smoothly between voxel centres.
struct Slice {
  SlicePlane plane;
  std::vector<std::uint8_t> grey, material,
      measured;  ///< row by row; measured = 0 outside the scan
};
[[nodiscard]] Slice cut(const Body& body, const SlicePlane& plane, const GreyScale& scale);

/// Blanks what lies in any of the masks: no picture shows it.
void withhold(Slice& slice, const std::vector<const Mask*>& masks);

/// Trilinear HU; NaN outside the grid or where the scanner gave no reading.
[[nodiscard]] double hu_at(const Body& body, const Vec3& lps_mm);

/// Paints the slice into `where`, with the outlines of the materials in their colours.
void paint_slice(cairo_t* cairo, const Slice& slice, const Rect& where);

/// A word to set on the picture, and where: inside the widest part of each material.
struct MaterialWord {
  Material material;
  double column, row;
};
/// `clear` (1 a pixel) keeps words away from what is drawn over the picture; a material whose word
/// would run into that of a wider part goes without.
[[nodiscard]] std::vector<MaterialWord> words_on(const Slice& slice,
                                                 const std::vector<std::uint8_t>& clear,
                                                 int least_px, double word_width_px);

}  // namespace leastharm
