#include "ink.h"

#include <cmath>
#include <numbers>

namespace leastharm {
namespace {

constexpr Rgb from_hex(unsigned hex) {
  return {((hex >> 16) & 255) / 255.0, ((hex >> 8) & 255) / 255.0, (hex & 255) / 255.0};
}

Rgb mixed(Rgb a, Rgb b, double share_of_b) {
  const auto mix = [&](double x, double y) { return x + (y - x) * share_of_b; };
  return {mix(a.red, b.red), mix(a.green, b.green), mix(a.blue, b.blue)};
}

/// Parallel lines across a box, `degrees` from the horizontal.
void hatch_lines(cairo_t* cairo, const Rect& box, double degrees, double gap_pt) {
  const double angle = degrees * std::numbers::pi / 180;
  const double ux = std::cos(angle), uy = -std::sin(angle);
  const double reach = std::hypot(box.width, box.height);
  const double cx = box.x + box.width / 2, cy = box.y + box.height / 2;
  const int count = static_cast<int>(reach / 2 / gap_pt) + 1;
  for (int n = -count; n <= count; ++n) {
    const double px = cx - uy * n * gap_pt, py = cy + ux * n * gap_pt;
    cairo_move_to(cairo, px - ux * reach, py - uy * reach);
    cairo_line_to(cairo, px + ux * reach, py + uy * reach);
  }
  cairo_stroke(cairo);
}

void hatch_dots(cairo_t* cairo, const Rect& box, double gap_pt, double radius_pt) {
  int row = 0;
  for (double y = box.y + gap_pt / 2; y < box.bottom() + gap_pt; y += gap_pt, ++row)
    for (double x = box.x + (row % 2 ? gap_pt / 2 : gap_pt); x < box.right() + gap_pt;
         x += gap_pt) {
      cairo_new_sub_path(cairo);
      cairo_arc(cairo, x, y, radius_pt, 0, 2 * std::numbers::pi);
    }
  cairo_fill(cairo);
}

/// Clips to the current path, paints the tint, and leaves the hatch's colour set. Returns the
/// path's box.
Rect begin_fill(cairo_t* cairo, Rgb tint, Rgb line) {
  double x0, y0, x1, y1;
  cairo_path_extents(cairo, &x0, &y0, &x1, &y1);
  cairo_clip(cairo);
  set_colour(cairo, tint);
  cairo_paint(cairo);
  set_colour(cairo, line);
  cairo_set_line_width(cairo, 0.6);
  cairo_set_dash(cairo, nullptr, 0, 0);
  return {x0, y0, x1 - x0, y1 - y0};
}

void hatch_as(cairo_t* cairo, Material material, const Rect& box) {
  switch (material) {
    case Material::wrapping:
      hatch_lines(cairo, box, 0, 2.8);
      break;
    case Material::body:
      hatch_dots(cairo, box, 3.8, 0.7);
      break;
    case Material::packing:
      hatch_lines(cairo, box, 45, 3.4);
      break;
    case Material::bone:
      hatch_lines(cairo, box, 90, 2.6);
      break;
    case Material::resin:
      hatch_lines(cairo, box, -45, 2.6);
      hatch_lines(cairo, box, 45, 2.6);
      break;
    case Material::support:
      hatch_lines(cairo, box, 0, 5);
      hatch_lines(cairo, box, 90, 5);
      break;
    case Material::air:
    case Material::dense:
      break;
  }
}

}  // namespace

Rgb colour_of(Material material) {
  switch (material) {
    case Material::wrapping:
      return from_hex(0xE69F00);
    case Material::body:
      return from_hex(0xD55E00);
    case Material::packing:
      return from_hex(0x009E73);
    case Material::bone:
      return from_hex(0x56B4E9);
    case Material::resin:
      return from_hex(0xCC79A7);
    case Material::dense:
      return from_hex(0x000000);
    case Material::support:
      return from_hex(0x999999);
    case Material::air:
      break;
  }
  return kWhite;
}

void fill_as(cairo_t* cairo, Material material) {
  const Rgb colour = colour_of(material);
  const bool solid = material == Material::dense || material == Material::air;
  cairo_save(cairo);
  const Rect box =
      begin_fill(cairo, solid ? colour : mixed(colour, kWhite, 0.62), mixed(colour, kInk, 0.25));
  hatch_as(cairo, material, box);
  cairo_restore(cairo);
  cairo_new_path(cairo);
}

void fill_as_part(cairo_t* cairo, const std::string& part) {
  if (const auto material = material_named(part)) return fill_as(cairo, *material);
  cairo_save(cairo);
  const bool hole = part == "hole";
  const Rect box = begin_fill(cairo, hole ? kWhite : Rgb{0.86, 0.86, 0.88}, kInk);
  if (hole)
    hatch_dots(cairo, box, 5.5, 1.2);
  else
    hatch_lines(cairo, box, part.starts_with("zone") ? 20 : 70, 2.4);
  cairo_restore(cairo);
  cairo_new_path(cairo);
}

void add_rect(cairo_t* cairo, const Rect& rect) {
  cairo_rectangle(cairo, rect.x, rect.y, rect.width, rect.height);
}

void stroke(cairo_t* cairo, Rgb colour, double width_pt) {
  set_colour(cairo, colour);
  cairo_set_line_width(cairo, width_pt);
  cairo_stroke(cairo);
}

void draw_rule(cairo_t* cairo, double x0, double x1, double y, double width_pt, Rgb colour) {
  draw_segment(cairo, x0, y, x1, y);
  stroke(cairo, colour, width_pt);
}

void draw_segment(cairo_t* cairo, double x0, double y0, double x1, double y1) {
  cairo_move_to(cairo, x0, y0);
  cairo_line_to(cairo, x1, y1);
}

}  // namespace leastharm
