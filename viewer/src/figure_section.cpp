#include <algorithm>
#include <cmath>
#include <numbers>

#include "figure_marks.h"
#include "figure_route.h"
#include "words.h"
#include "plan_facts.h"

namespace leastharm {
namespace {

const TextStyle kOnPicture{7.2, 9, Weight::semibold, false, kWhite, Align::centre};
constexpr Rgb kHalo{0.05, 0.05, 0.06};
/// In the section along the needle the words for its two ends stand below the needle.
constexpr double kSidePart = 0.7;

/// A light line that stands out from any grey.
void stroke_on_picture(cairo_t* cairo, double width_pt) {
  cairo_path_t* path = cairo_copy_path(cairo);
  stroke(cairo, kHalo, width_pt + 1.4);
  cairo_append_path(cairo, path);
  cairo_path_destroy(path);
  stroke(cairo, kWhite, width_pt);
}

void draw_word(cairo_t* cairo, const std::string& word, double x, double y,
               Align align = Align::centre) {
  draw_line_of_text(cairo, word, aligned(kOnPicture, align), x, y, &kHalo);
}

/// What lies beyond each edge of a picture.
/// What is left and right stands at `side_part` of the height.
void draw_edge_words(cairo_t* cairo, const Rect& where, const Vec3& right, const Vec3& up,
                     const Directions& directions, double side_part = 0.5) {
  const double cx = where.x + where.width / 2, cy = where.y + where.height * side_part + 2.5;
  draw_word(cairo, words_for(up, directions), cx, where.y + 9);
  draw_word(cairo, words_for(-up, directions), cx, where.bottom() - 4);
  draw_word(cairo, words_for(-right, directions), where.x + 4, cy, Align::left);
  draw_word(cairo, words_for(right, directions), where.right() - 4, cy, Align::right);
}

void draw_scale_bar(cairo_t* cairo, const Rect& where, double pt_per_mm) {
  double length_mm = 5;
  for (const double candidate : {10.0, 20.0, 50.0, 100.0, 200.0})
    if (candidate * pt_per_mm < 0.34 * where.width) length_mm = candidate;
  const double x = where.x + 6, y = where.bottom() - 7;
  draw_segment(cairo, x, y, x + length_mm * pt_per_mm, y);
  stroke_on_picture(cairo, 1.6);
  draw_word(cairo, mm(length_mm, 0), x, y - 4, Align::left);
}

void draw_material_words(cairo_t* cairo, const Slice& slice, const std::vector<std::uint8_t>& taken,
                         const Rect& where) {
  const double scale = where.width / slice.plane.width;
  for (const MaterialWord& word : words_on(slice, taken, static_cast<int>(6.5 / scale), 44 / scale))
    draw_word(cairo, spoken(word.material), where.x + word.column * scale,
              where.y + word.row * scale + 2.5);
}

/// Pixels within `half_mm` of the segment from a to b: kept free of words.
std::vector<std::uint8_t> near_segment(const SlicePlane& plane, const Vec3& a, const Vec3& b,
                                       double half_mm) {
  std::vector<std::uint8_t> taken(static_cast<std::size_t>(plane.width) * plane.height, 0);
  const Vec3 along = b - a;
  for (int row = 0; row < plane.height; ++row)
    for (int column = 0; column < plane.width; ++column) {
      const Vec3 offset = plane.at(column, row) - a;
      const Vec3 flat(offset.dot(plane.right), offset.dot(plane.down), 0);
      const Vec3 line(along.dot(plane.right), along.dot(plane.down), 0);
      const double t = std::clamp(flat.dot(line) / std::max(1e-9, line.squaredNorm()), 0.0, 1.0);
      if ((flat - t * line).norm() < half_mm)
        taken[static_cast<std::size_t>(row) * plane.width + column] = 1;
    }
  return taken;
}

/// Keeps the words at the four edges clear as well.
void take_edges(const SlicePlane& plane, double scale, std::vector<std::uint8_t>& taken,
                double side_part = 0.5) {
  const auto take = [&](double x0, double y0, double x1, double y1) {
    for (int row = std::max(0, static_cast<int>(y0));
         row < std::min(plane.height, static_cast<int>(y1)); ++row)
      for (int column = std::max(0, static_cast<int>(x0));
           column < std::min(plane.width, static_cast<int>(x1)); ++column)
        taken[static_cast<std::size_t>(row) * plane.width + column] = 1;
  };
  const double w = plane.width, h = plane.height, px = 1 / scale;
  take(w / 2 - 24 * px, 0, w / 2 + 24 * px, 12 * px);
  take(w / 2 - 24 * px, h - 12 * px, w / 2 + 24 * px, h);
  take(0, h * side_part - 6 * px, 44 * px, h * side_part + 6 * px);
  take(w - 44 * px, h * side_part - 6 * px, w, h * side_part + 6 * px);
  take(0, h - 22 * px, 0.36 * w, h);
}

void draw_needle_along(cairo_t* cairo, const Rect& where, const TrackAssessment& track,
                       const DepthAxis& axis) {
  const double scale = axis.pt_per_mm(), y = where.y + where.height / 2;
  const double outer = track.track.needle.outer_mm / 2 * scale,
               bore = track.track.needle.bore_mm / 2 * scale;
  const double entry = axis.x(0), tip = axis.x(track.path_length_mm), end = axis.x(reach_mm(track));
  const double core = axis.x(core_from_mm(track));
  cairo_rectangle(cairo, core, y - bore, tip - core, 2 * bore);
  cairo_set_source_rgba(cairo, 1, 1, 1, 0.45);
  cairo_fill(cairo);
  for (const double side : {-outer, outer}) draw_segment(cairo, where.x, y + side, end, y + side);
  draw_segment(cairo, end, y - outer, end, y + outer);
  stroke_on_picture(cairo, 0.7);
  cairo_rectangle(cairo, core, y - bore, tip - core, 2 * bore);
  stroke(cairo, kWhite, 0.7);
  draw_segment(cairo, entry, y - outer - 7, entry, y + outer + 7);
  stroke_on_picture(cairo, 0.9);
  draw_word(cairo, "entry", entry, y - outer - 10);
  draw_word(cairo, "core", (core + tip) / 2, y - outer - 4);
}

Vec3 upward_for(const Vec3& direction, const Vec3& normal, const Directions& directions) {
  Vec3 up = normal.cross(direction);
  if (up.norm() < 0.2) up = directions.front - directions.front.dot(direction) * direction;
  up.normalize();
  const double sign =
      std::abs(up.dot(directions.front)) > 0.2 ? up.dot(directions.front) : up.dot(directions.left);
  return sign < 0 ? Vec3(-up) : up;
}

/// The grid axis (or its opposite) that points most nearly the wanted way, of the two in the slice.
Vec3 slice_axis(const Grid& grid, const Vec3& wanted, int& taken) {
  const int best =
      taken >= 0 ? 1 - taken
      : std::abs(grid.direction.col(0).dot(wanted)) >= std::abs(grid.direction.col(1).dot(wanted))
          ? 0
          : 1;
  taken = best;
  const Vec3 axis = grid.direction.col(best);
  return axis.dot(wanted) < 0 ? Vec3(-axis) : axis;
}

/// The object's box within one slice, in coordinates along two axes.
struct Extent {
  double low_right = 1e30, high_right = -1e30, low_up = 1e30, high_up = -1e30;
};
Extent extent_in_slice(const Body& body, int k, const Vec3& right, const Vec3& up) {
  Extent extent;
  for (int j = 0; j < body.grid.size[1]; ++j)
    for (int i = 0; i < body.grid.size[0]; ++i) {
      const Material m = body.material_at({i, j, k});
      if (m == Material::air || m == Material::support) continue;
      const Vec3 p = body.grid.lps_from_index(Vec3(i, j, k));
      extent.low_right = std::min(extent.low_right, p.dot(right));
      extent.high_right = std::max(extent.high_right, p.dot(right));
      extent.low_up = std::min(extent.low_up, p.dot(up));
      extent.high_up = std::max(extent.high_up, p.dot(up));
    }
  return extent;
}

}  // namespace

DepthAxis depth_axis(const TrackAssessment& track, const Rect& column) {
  const double to = std::max(42.0, reach_mm(track) + 10);
  return {-8, std::ceil(to / 5) * 5, column.x + 56, column.right()};
}

void draw_section_along(cairo_t* cairo, const Rect& where, const Paper& paper,
                        const TrackAssessment& track, const DepthAxis& axis) {
  const Body& body = paper.volumes.body;
  const Directions directions = directions_of(paper.file);
  const Vec3 along = direction_of(track.track);
  const Vec3 up = upward_for(along, body.grid.direction.col(2), directions);
  const Rect picture{axis.x0, where.y, axis.x1 - axis.x0, where.height};
  const Vec3 centre = track.track.entry_lps_mm + along * (axis.from_mm + axis.to_mm) / 2;
  const SlicePlane plane = plane_about(centre, along, -up, axis.to_mm - axis.from_mm,
                                       picture.height / axis.pt_per_mm(), picture.width);
  Slice slice = cut(body, plane, kGreyScale);
  withhold(slice, withheld_masks(paper));
  const double scale = picture.width / plane.width;
  auto taken = near_segment(plane, track.track.entry_lps_mm - 20 * along, track.track.tip_lps_mm,
                            track.track.needle.outer_mm / 2 + 4 / axis.pt_per_mm());
  take_edges(plane, scale, taken, kSidePart);
  paint_slice(cairo, slice, picture);
  draw_marks(cairo, body, plane, picture);
  draw_material_words(cairo, slice, taken, picture);
  cairo_save(cairo);
  add_rect(cairo, picture);
  cairo_clip(cairo);
  draw_needle_along(cairo, picture, track, axis);
  cairo_restore(cairo);
  draw_edge_words(cairo, picture, along, up, directions, kSidePart);
  draw_scale_bar(cairo, picture, axis.pt_per_mm());
}

void draw_section_across(cairo_t* cairo, const Rect& where, const Paper& paper,
                         const TrackAssessment& track) {
  const Body& body = paper.volumes.body;
  const Directions directions = directions_of(paper.file);
  const Vec3 along = direction_of(track.track);
  const Vec3 wanted =
      std::abs(along.dot(directions.head)) < 0.8 ? directions.head : directions.front;
  const Vec3 up = (wanted - wanted.dot(along) * along).normalized();
  const Vec3 right =
      along.cross(up);  // looking along the needle: right x up points back at the reader
  const double field_mm = std::max(36.0, 8 * track.track.needle.outer_mm);
  const SlicePlane plane = plane_about(core_centre(track), right, -up, field_mm,
                                       field_mm * where.height / where.width, where.width);
  Slice slice = cut(body, plane, kGreyScale);
  withhold(slice, withheld_masks(paper));
  const double pt_per_mm = where.width / field_mm, cx = where.x + where.width / 2,
               cy = where.y + where.height / 2;
  const Vec3 core = core_centre(track);
  auto taken = near_segment(plane, core, core, track.track.needle.outer_mm / 2 + 5 / pt_per_mm);
  take_edges(plane, where.width / plane.width, taken);
  paint_slice(cairo, slice, where);
  draw_marks(cairo, body, plane, where);
  draw_material_words(cairo, slice, taken, where);
  for (const double diameter : {track.track.needle.outer_mm, track.track.needle.bore_mm}) {
    cairo_new_path(cairo);
    cairo_arc(cairo, cx, cy, diameter / 2 * pt_per_mm, 0, 2 * std::numbers::pi);
    stroke_on_picture(cairo, 0.8);
  }
  draw_edge_words(cairo, where, right, up, directions);
  draw_scale_bar(cairo, where, pt_per_mm);
}

int draw_scanner_slice(cairo_t* cairo, const Rect& where, const Paper& paper,
                       const TrackAssessment& track) {
  const Body& body = paper.volumes.body;
  const Directions directions = directions_of(paper.file);
  const VoxelIndex core = body.grid.voxel_at(core_centre(track));
  int taken_axis = -1;
  const Vec3 up = slice_axis(body.grid, directions.front, taken_axis);
  const Vec3 right = slice_axis(body.grid, directions.left, taken_axis);
  const Extent extent = extent_in_slice(body, core.k, right, up);
  if (extent.low_right > extent.high_right) return core.k;
  const double aspect = where.height / where.width;
  const double width_mm =
      std::max(extent.high_right - extent.low_right, (extent.high_up - extent.low_up) / aspect) +
      16;
  Vec3 centre = body.grid.lps_from_index(Vec3(core.i, core.j, core.k));
  centre += ((extent.low_right + extent.high_right) / 2 - centre.dot(right)) * right;
  centre += ((extent.low_up + extent.high_up) / 2 - centre.dot(up)) * up;
  const SlicePlane plane =
      plane_about(centre, right, -up, width_mm, width_mm * aspect, where.width);
  Slice slice = cut(body, plane, kGreyScale);
  withhold(slice, withheld_masks(paper));
  const double pt_per_mm = where.width / width_mm;
  auto taken = near_segment(plane, track.track.entry_lps_mm, track.track.tip_lps_mm, 3 / pt_per_mm);
  take_edges(plane, where.width / plane.width, taken);
  paint_slice(cairo, slice, where);
  draw_marks(cairo, body, plane, where);
  draw_material_words(cairo, slice, taken, where);
  const auto page_x = [&](const Vec3& p) {
    return where.x + where.width / 2 + (p - centre).dot(right) * pt_per_mm;
  };
  const auto page_y = [&](const Vec3& p) {
    return where.y + where.height / 2 - (p - centre).dot(up) * pt_per_mm;
  };
  cairo_save(cairo);
  add_rect(cairo, where);
  cairo_clip(cairo);
  const Vec3 outside = track.track.entry_lps_mm - 12 * direction_of(track.track);
  draw_segment(cairo, page_x(outside), page_y(outside), page_x(track.track.tip_lps_mm),
               page_y(track.track.tip_lps_mm));
  stroke_on_picture(cairo, 1.0);
  cairo_restore(cairo);
  draw_edge_words(cairo, where, right, up, directions);
  draw_scale_bar(cairo, where, pt_per_mm);
  return core.k;
}

}  // namespace leastharm
