#include "figure_charts.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/enough.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kNameWidth = 86;
constexpr Rgb kBlue{0.0, 0.447, 0.698};  // Okabe and Ito's blue

double step_for(double top) {
  for (const double step : {1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0})
    if (top / step <= 8) return step;
  return 1000;
}

void draw_mass_row(cairo_t* cairo, const MassRow& row, double y, double x0, double scale) {
  const TextStyle name{8.2, 10.5, Weight::semibold, false, kInk, Align::right, 1};
  TextBlock(cairo, row.name, name, kNameWidth - 8).draw(x0 - kNameWidth, y - 6);
  draw_segment(cairo, x0 + row.low_mg * scale, y, x0 + row.high_mg * scale, y);
  for (const double end : {row.low_mg, row.high_mg})
    draw_segment(cairo, x0 + end * scale, y - 2.5, x0 + end * scale, y + 2.5);
  stroke(cairo, kInk, 0.9);
  cairo_arc(cairo, x0 + row.median_mg * scale, y, 2.6, 0, 2 * std::numbers::pi);
  set_colour(cairo, kInk);
  cairo_fill(cairo);
  if (row.need_mg <= 0) return;
  draw_segment(cairo, x0 + row.need_mg * scale, y - kMassRow / 2, x0 + row.need_mg * scale,
               y + kMassRow / 2);
  stroke(cairo, kBlue, 2);
}

}  // namespace

double height_of_masses(std::size_t rows) { return kMassRow * static_cast<double>(rows) + 35; }

void draw_masses(cairo_t* cairo, const Rect& where, const std::vector<MassRow>& rows) {
  double top = 1;
  for (const MassRow& row : rows) top = std::max({top, row.high_mg * 1.05, row.need_mg * 1.1});
  const double x0 = where.x + kNameWidth, scale = (where.right() - 12 - x0) / top;
  const double first = where.y + 10.5, foot = first + kMassRow * static_cast<double>(rows.size());
  const double step = step_for(top);
  for (double tick = 0; tick <= top; tick += step) {
    draw_segment(cairo, x0 + tick * scale, first, x0 + tick * scale, foot + 3);
    stroke(cairo, tick == 0 ? kInk : kRule, tick == 0 ? 0.7 : 0.3);
    draw_line_of_text(cairo, number(tick, 0), aligned(style::label, Align::centre),
                      x0 + tick * scale, foot + 11);
  }
  for (std::size_t n = 0; n < rows.size(); ++n)
    draw_mass_row(cairo, rows[n], first + kMassRow * (static_cast<double>(n) + 0.5), x0, scale);
  const auto needed =
      std::find_if(rows.begin(), rows.end(), [](const MassRow& row) { return row.need_mg > 0; });
  if (needed != rows.end())
    draw_line_of_text(cairo, "needed",
                      aligned(TextStyle{7.2, 10.5, Weight::semibold, false, kBlue}, Align::centre),
                      x0 + needed->need_mg * scale, where.y + 7);
  draw_line_of_text(cairo, "mass of what is wanted in one core, mg",
                    aligned(style::label, Align::centre), (x0 + where.right()) / 2, foot + 22);
}

void draw_miss_curves(cairo_t* cairo, const Rect& where, const std::vector<MissCurve>& curves) {
  constexpr double low = -3, high = -0.30103;  // one grain in 1000 to one in two
  const Rect plot{where.x + kNameWidth, where.y + 7, where.width - kNameWidth - 12,
                  where.height - 35};
  const auto x_of = [&](double log_share) {
    return plot.x + (log_share - low) / (high - low) * plot.width;
  };
  const auto y_of = [&](double p) { return plot.bottom() - p * plot.height; };
  for (const double p : {0.0, 0.5, 1.0}) {
    draw_rule(cairo, plot.x, plot.right(), y_of(p), p == 0 ? 0.7 : 0.3, p == 0 ? kInk : kRule);
    draw_line_of_text(cairo, number(100 * p, 0) + " %", aligned(style::label, Align::right),
                      plot.x - 5, y_of(p) + 2.5);
  }
  for (const double one_in : {1000.0, 300.0, 100.0, 30.0, 10.0, 3.0}) {
    const double x = x_of(-std::log10(one_in));
    draw_segment(cairo, x, plot.y, x, plot.bottom() + 3);
    stroke(cairo, kRule, 0.3);
    draw_line_of_text(cairo, "1 in " + number(one_in, 0), aligned(style::label, Align::centre), x,
                      plot.bottom() + 11);
  }
  for (std::size_t n = 0; n < curves.size(); ++n) {
    double label_x = plot.x, label_y = y_of(1);
    for (double log_share = low; log_share <= high; log_share += 0.01) {
      const double p = chance_to_miss(std::pow(10, log_share), curves[n].grains);
      cairo_line_to(cairo, x_of(log_share), y_of(p));
      if (p > 0.5) {
        label_x = x_of(log_share);
        label_y = y_of(p);
      }
    }
    const double dash[] = {4, 2.5};
    if (n == 1) cairo_set_dash(cairo, dash, 2, 0);
    stroke(cairo, n == 0 ? kInk : kBlue, 1.4);
    cairo_set_dash(cairo, nullptr, 0, 0);
    draw_line_of_text(cairo, curves[n].name, TextStyle{7.6, 10.5, Weight::semibold}, label_x + 6,
                      label_y - 3, &kWhite);
  }
  draw_line_of_text(cairo, "grains that carry the thing sought",
                    aligned(style::label, Align::centre), plot.x + plot.width / 2,
                    plot.bottom() + 22);
  draw_line_of_text(cairo, "chance to", style::label, where.x, plot.y + plot.height / 2 - 2);
  draw_line_of_text(cairo, "miss it", style::label, where.x, plot.y + plot.height / 2 + 7);
}

}  // namespace leastharm
