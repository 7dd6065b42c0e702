#include "figure_angles.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

namespace leastharm {
namespace {

constexpr double kNeedle = 44;  // pt
const TextStyle kName{7.6, 10.5, Weight::semibold, false, kInk, Align::centre};

/// A place `length` away from (x, y), `degrees` clockwise from straight up.
struct Place {
  double x, y;
};
Place away(double x, double y, double degrees, double length) {
  const double radians = degrees * std::numbers::pi / 180;
  return {x + length * std::sin(radians), y - length * std::cos(radians)};
}

/// A needle whose tip or entry is at (x, y), a dotted line straight up, and the arc between them.
void draw_needle_with_arc(cairo_t* cairo, double x, double y, double degrees,
                          const std::string& reference) {
  const Place up = away(x, y, 0, kNeedle), hub = away(x, y, degrees, kNeedle);
  const double dash[] = {2, 2};
  cairo_set_dash(cairo, dash, 2, 0);
  draw_segment(cairo, x, y, up.x, up.y);
  stroke(cairo, kQuiet, 0.7);
  cairo_set_dash(cairo, nullptr, 0, 0);
  draw_segment(cairo, x, y, hub.x, hub.y);
  stroke(cairo, kInk, 1.8);
  const double a = (std::min(0.0, degrees) - 90) * std::numbers::pi / 180;
  const double b = (std::max(0.0, degrees) - 90) * std::numbers::pi / 180;
  cairo_arc(cairo, x, y, 27, a, b);
  stroke(cairo, kInk, 0.7);
  const Align align = degrees > 0 ? Align::right : Align::left;
  draw_line_of_text(cairo, reference, aligned(coloured(style::label, kQuiet), align),
                    x + (degrees > 0 ? -4 : 4), up.y + 7);
}

void draw_oval(cairo_t* cairo, double x, double y, double a, double b) {
  cairo_save(cairo);
  cairo_translate(cairo, x, y);
  cairo_scale(cairo, a, b);
  cairo_new_sub_path(cairo);
  cairo_arc(cairo, 0, 0, 1, 0, 2 * std::numbers::pi);
  cairo_restore(cairo);
  stroke(cairo, kInk, 1.0);
}

}  // namespace

void draw_angle_key(cairo_t* cairo, const Rect& where) {
  const double column = where.width / 3, y = where.y + 50, foot = where.bottom() - 3;
  const double surface = where.x + column / 2, plane = surface + column, tilt = plane + column;
  cairo_move_to(cairo, surface - 60, y + 9);
  cairo_curve_to(cairo, surface - 20, y - 3, surface + 20, y - 3, surface + 60, y + 9);
  stroke(cairo, kInk, 1.0);
  draw_needle_with_arc(cairo, surface, y, 36, "square to the surface");
  draw_line_of_text(cairo, "To the surface", kName, surface, foot);
  draw_oval(cairo, plane, y + 2, 40, 17);
  draw_needle_with_arc(cairo, plane, y, 40, "scanner’s front");
  draw_line_of_text(cairo, "In plane: seen along the body", kName, plane, foot);
  draw_oval(cairo, tilt, y + 2, 66, 14);
  draw_needle_with_arc(cairo, tilt, y, 24, "axial plane");
  draw_line_of_text(cairo, "Out of plane: seen from its side", kName, tilt, foot);
}

}  // namespace leastharm
