#pragma once

#include <cairo.h>

#include <string>

#include "imaging/material.h"
#include "type.h"

namespace leastharm {

struct Rect {
  double x = 0, y = 0, width = 0, height = 0;
  [[nodiscard]] double right() const { return x + width; }
  [[nodiscard]] double bottom() const { return y + height; }
};

/// A material's colour, from Okabe and Ito's palette for colour-blind readers (Color Universal
/// Design, 2002).
[[nodiscard]] Rgb colour_of(Material material);
/// Fills the current path with the material's tint and its own hatch, so that it can be told
/// without colour.
void fill_as(cairo_t* cairo, Material material);
/// The same for a part of the damage score: a material's name, "hole", "zone NAME" or "near NAME".
void fill_as_part(cairo_t* cairo, const std::string& part);

void add_rect(cairo_t* cairo, const Rect& rect);
void stroke(cairo_t* cairo, Rgb colour, double width_pt);
void draw_rule(cairo_t* cairo, double x0, double x1, double y, double width_pt, Rgb colour = kInk);
void draw_segment(cairo_t* cairo, double x0, double y0, double x1, double y1);

}  // namespace leastharm
