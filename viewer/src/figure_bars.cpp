#include "figure_bars.h"

#include <algorithm>
#include <cmath>

#include "words.h"

namespace leastharm {
namespace {

constexpr double kNameWidth = 86;
constexpr double kTotalWidth = 42;

double round_step(double top) {
  const double raw = std::max(top, 1e-6) / 5, power = std::pow(10, std::floor(std::log10(raw)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= raw) return factor * power;
  return 10 * power;
}

}  // namespace

double Bar::total() const {
  double sum = 0;
  for (const auto& part : parts) sum += part.second;
  return sum;
}

void draw_bars(cairo_t* cairo, const Rect& where, const std::vector<Bar>& bars, double top) {
  const double x0 = where.x + kNameWidth, x1 = where.right() - kTotalWidth;
  const double scale = top > 0 ? (x1 - x0) / top : 0,
               foot = where.y + kBarRow * static_cast<double>(bars.size());
  const double step = round_step(top);
  for (double tick = 0; tick <= top * 1.0001; tick += step) {
    draw_segment(cairo, x0 + tick * scale, where.y, x0 + tick * scale, foot + 3);
    stroke(cairo, tick == 0 ? kInk : kRule, tick == 0 ? 0.7 : 0.3);
    draw_line_of_text(cairo, number(tick, step < 1 ? 1 : 0), aligned(style::label, Align::centre),
                      x0 + tick * scale, foot + 11);
  }
  for (std::size_t n = 0; n < bars.size(); ++n) {
    const double y = where.y + kBarRow * static_cast<double>(n);
    TextStyle name{8.2, 10.5, Weight::semibold, false, kInk, Align::right, 1};
    TextBlock(cairo, bars[n].name, name, kNameWidth - 8).draw(where.x, y + 3.5);
    double x = x0;
    for (const auto& [part, value] : bars[n].parts) {
      if (value <= 0) continue;
      const Rect piece{x, y + 3, value * scale, kBarRow - 6};
      add_rect(cairo, piece);
      fill_as_part(cairo, part);
      add_rect(cairo, piece);
      stroke(cairo, kInk, 0.4);
      x += piece.width;
    }
    draw_line_of_text(cairo, number(bars[n].total(), 1), TextStyle{8.2, 10.5, Weight::semibold},
                      x + 4, y + 11.5);
  }
}

std::vector<std::string> parts_of(const std::vector<Bar>& bars) {
  std::vector<std::string> parts;
  for (const Bar& bar : bars)
    for (const auto& [part, value] : bar.parts)
      if (value > 0 && std::find(parts.begin(), parts.end(), part) == parts.end())
        parts.push_back(part);
  return parts;
}

double draw_legend(cairo_t* cairo, const Rect& where, const std::vector<std::string>& parts,
                   bool draw) {
  constexpr double swatch = 16, row = 14;
  double x = where.x, y = where.y;
  for (const std::string& part : parts) {
    const auto material = material_named(part);
    const std::string name = material ? spoken(*material) : part;
    const double width = swatch + 5 + text_width(cairo, name, style::label) + 14;
    if (x + width > where.right() && x > where.x) {
      x = where.x;
      y += row;
    }
    if (draw) {
      const Rect piece{x, y + 2, swatch, row - 5};
      add_rect(cairo, piece);
      fill_as_part(cairo, part);
      add_rect(cairo, piece);
      stroke(cairo, kInk, 0.4);
      draw_line_of_text(cairo, name, style::label, x + swatch + 5, y + 9.5);
    }
    x += width;
  }
  return parts.empty() ? 0 : y + row - where.y;
}

}  // namespace leastharm
