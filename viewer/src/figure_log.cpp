#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "figure_bars.h"
#include "figure_route.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr Rgb kCurve{0.0, 0.447, 0.698};  // Okabe and Ito's blue
constexpr Rgb kCoreShade{0.90, 0.90, 0.92};
constexpr double kKeepOutTopMm = 40;
const TextStyle kTick{6.6, 9, Weight::regular, false, kQuiet, Align::right};
const TextStyle kRowName{7.2, 9, Weight::semibold, false, kInk, Align::left};

/// Two short lines in the margin left of a row.
void draw_row_name(cairo_t* cairo, double x, double y, const std::string& first,
                   const std::string& second) {
  draw_line_of_text(cairo, first, kRowName, x, y);
  draw_line_of_text(cairo, second, coloured(TextStyle{6.6, 9}, kQuiet), x, y + 8.5);
}

void draw_bands(cairo_t* cairo, const Rect& row, const TrackAssessment& track,
                const DepthAxis& axis) {
  for (const Crossing& crossing : track.crossings) {
    const double x0 = axis.x(crossing.from_mm), x1 = axis.x(crossing.to_mm);
    add_rect(cairo, {x0, row.y, x1 - x0, row.height});
    fill_as(cairo, crossing.material);
    add_rect(cairo, {x0, row.y, x1 - x0, row.height});
    stroke(cairo, kInk, 0.5);
    const std::string name = spoken(crossing.material);
    const TextStyle style = aligned(TextStyle{7.2, 9, Weight::semibold}, Align::centre);
    const Rgb halo = crossing.material == Material::dense ? Rgb{0, 0, 0} : kWhite;
    if (text_width(cairo, name, style) + 6 < x1 - x0)
      draw_line_of_text(cairo, name,
                        crossing.material == Material::dense ? coloured(style, kWhite) : style,
                        (x0 + x1) / 2, row.y + row.height / 2 + 2.6, &halo);
  }
}

double top_hu(const NeedleLog& log) {
  double top = 500;
  for (const auto& sample : log.samples)
    if (std::isfinite(sample.hu)) top = std::max(top, std::ceil(sample.hu / 500) * 500);
  return top;
}

template <typename Value>
void add_curve(cairo_t* cairo, const NeedleLog& log, const DepthAxis& axis, Value y_of) {
  bool open = false;
  for (const auto& sample : log.samples) {
    const double y = y_of(sample);
    if (!std::isfinite(y)) {
      open = false;
      continue;
    }
    open ? cairo_line_to(cairo, axis.x(sample.depth_mm), y)
         : cairo_move_to(cairo, axis.x(sample.depth_mm), y);
    open = true;
  }
}

void draw_hu_row(cairo_t* cairo, const Rect& row, const NeedleLog& log, const DepthAxis& axis) {
  const double low = -1000, high = top_hu(log);
  const auto y_of = [&](double hu) {
    return row.bottom() - (std::clamp(hu, low, high) - low) / (high - low) * row.height;
  };
  const double step = high - low > 2500 ? 1000 : 500;
  for (double hu = low; hu <= high; hu += step) {
    draw_rule(cairo, row.x, row.right(), y_of(hu), hu == 0 ? 0.5 : 0.25, hu == 0 ? kQuiet : kRule);
    draw_line_of_text(cairo, number(hu, 0), kTick, row.x - 4, y_of(hu) + 2.3);
  }
  add_curve(cairo, log, axis,
            [&](const NeedleLog::Sample& s) { return std::isfinite(s.hu) ? y_of(s.hu) : s.hu; });
  cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
  stroke(cairo, kCurve, 1.1);
}

void draw_keep_out_row(cairo_t* cairo, const Rect& row, const NeedleLog& log, const DepthAxis& axis,
                       double limit_mm) {
  const auto y_of = [&](double free_mm) {
    return row.bottom() - std::clamp(free_mm, 0.0, kKeepOutTopMm) / kKeepOutTopMm * row.height;
  };
  for (const double tick : {0.0, 20.0, 40.0}) {
    draw_rule(cairo, row.x, row.right(), y_of(tick), 0.25, kRule);
    draw_line_of_text(cairo, number(tick, 0), kTick, row.x - 4, y_of(tick) + 2.3);
  }
  if (log.nearest.empty()) {
    draw_line_of_text(cairo, "no keep-outs are marked", coloured(style::label, kQuiet), row.x + 6,
                      row.y + row.height / 2 + 2.5);
    return;
  }
  const double dash[] = {3, 2};
  cairo_set_dash(cairo, dash, 2, 0);
  draw_rule(cairo, row.x, row.right(), y_of(limit_mm), 0.7, kInk);
  cairo_set_dash(cairo, nullptr, 0, 0);
  draw_line_of_text(cairo, "limit " + mm(limit_mm, 0), aligned(TextStyle{6.6, 9}, Align::right),
                    row.right() - 3, y_of(limit_mm) - 2.2, &kWhite);
  add_curve(cairo, log, axis, [&](const NeedleLog::Sample& s) {
    const bool beyond = s.keep_out_mm > kKeepOutTopMm;
    return beyond ? std::numeric_limits<double>::quiet_NaN() : y_of(s.keep_out_mm);
  });
  stroke(cairo, kInk, 1.1);
  const double x = axis.x(log.nearest_at_mm), y = y_of(log.nearest_mm);
  cairo_arc(cairo, x, y, 1.8, 0, 2 * std::numbers::pi);
  set_colour(cairo, kInk);
  cairo_fill(cairo);
  const std::string where = log.nearest_mm > kKeepOutTopMm
                                ? log.nearest + ", " + mm(log.nearest_mm) + " (beyond the scale)"
                                : log.nearest + ", " + mm(log.nearest_mm);
  draw_line_of_text(cairo, where,
                    aligned(TextStyle{7.2, 9, Weight::semibold},
                            x > (row.x + row.right()) / 2 ? Align::right : Align::left),
                    x, y < row.y + 14 ? y + 10 : y - 4, &kWhite);
}

void draw_certainty_row(cairo_t* cairo, const Rect& row, const NeedleLog& log,
                        const DepthAxis& axis) {
  cairo_move_to(cairo, row.x, row.bottom());
  for (const auto& sample : log.samples)
    cairo_line_to(cairo, axis.x(sample.depth_mm), row.bottom() - sample.confidence * row.height);
  cairo_line_to(cairo, row.right(), row.bottom());
  cairo_close_path(cairo);
  set_colour(cairo, {0.78, 0.78, 0.80});
  cairo_fill(cairo);
  for (const double tick : {0.0, 1.0}) {
    draw_rule(cairo, row.x, row.right(), row.bottom() - tick * row.height, 0.25, kRule);
    draw_line_of_text(cairo, number(100 * tick, 0), kTick, row.x - 4,
                      row.bottom() - tick * row.height + 2.3);
  }
}

void draw_depth_scale(cairo_t* cairo, double y, const DepthAxis& axis,
                      const TrackAssessment& track) {
  draw_rule(cairo, axis.x0, axis.x1, y, 0.7);
  const double step = axis.pt_per_mm() * 10 > 22 ? 10 : 20;
  for (double depth = 0; depth <= axis.to_mm + 0.01; depth += step / 2) {
    const bool named = std::fmod(depth, step) == 0;
    draw_segment(cairo, axis.x(depth), y, axis.x(depth), y + (named ? 4 : 2.5));
    stroke(cairo, kInk, 0.5);
    if (!named) continue;
    const bool at_rim = axis.x(depth) + 6 > axis.x1;  // the last one stays within the column
    draw_line_of_text(cairo, number(depth, 0),
                      aligned(TextStyle{7.2, 9}, at_rim ? Align::right : Align::centre),
                      at_rim ? axis.x1 : axis.x(depth), y + 11.5);
  }
  const double tip = axis.x(track.path_length_mm);
  cairo_move_to(cairo, tip, y);
  cairo_rel_line_to(cairo, -3, -5);
  cairo_rel_line_to(cairo, 6, 0);
  cairo_close_path(cairo);
  set_colour(cairo, kInk);
  cairo_fill(cairo);
  draw_line_of_text(
      cairo, "depth from the entry, mm (triangle: tip at " + number(track.path_length_mm, 1) + ")",
      aligned(style::label, Align::centre), (axis.x0 + axis.x1) / 2, y + 21.5);
}

}  // namespace

void draw_crossing_log(cairo_t* cairo, const Rect& where, const Paper& paper,
                       const TrackAssessment& track, const DepthAxis& axis) {
  const NeedleLog log = log_along(paper.volumes.body, track.track, axis.from_mm, axis.to_mm, 0.5);
  const double x = axis.x0, width = axis.x1 - axis.x0, name_x = where.x;
  const Rect bands{x, where.y + 12, width, 26}, hu{x, where.y + 46, width, 50},
      keep_out{x, where.y + 109, width, 28}, certainty{x, where.y + 149, width, 13};
  const double core0 = axis.x(core_from_mm(track)), core1 = axis.x(track.path_length_mm);
  add_rect(cairo, {core0, where.y + 9, core1 - core0, certainty.bottom() + 5 - where.y - 9});
  set_colour(cairo, kCoreShade);
  cairo_fill(cairo);
  draw_line_of_text(cairo, "core " + mm(track.path_length_mm - core_from_mm(track), 0),
                    aligned(TextStyle{7.2, 9, Weight::semibold}, Align::centre),
                    (core0 + core1) / 2, where.y + 6.5);
  draw_bands(cairo, bands, track, axis);
  draw_hu_row(cairo, hu, log, axis);
  const double limit =
      paper.file.request ? paper.file.request->limits.clearance_mm : Limits{}.clearance_mm;
  draw_keep_out_row(cairo, keep_out, log, axis, limit);
  draw_certainty_row(cairo, certainty, log, axis);
  draw_row_name(cairo, name_x, bands.y + 11, "Material", "crossed");
  draw_row_name(cairo, name_x, hu.y + 24, "CT", "HU");
  draw_row_name(cairo, name_x, keep_out.y + 13, "Keep-out", "mm away");
  draw_row_name(cairo, name_x, certainty.y + 5.5, "Map", "sure, %");
  draw_depth_scale(cairo, certainty.bottom() + 5, axis, track);
  std::vector<std::string> crossed;
  for (const Crossing& crossing : track.crossings)
    if (const std::string name(name_of(crossing.material));
        crossing.material != Material::air && std::ranges::find(crossed, name) == crossed.end())
      crossed.push_back(name);
  draw_legend(cairo, {x, certainty.bottom() + 31, width, 14}, crossed, true);
}

HoleSize hole_size(const TrackAssessment& track) {
  const double across = track.track.needle.outer_mm;
  return {across,
          across / std::cos(std::min(track.entry_angle_deg, 85.0) * std::numbers::pi / 180)};
}

void add_true_hole(cairo_t* cairo, const HoleSize& hole, double x, double y) {
  cairo_save(cairo);
  cairo_translate(cairo, x, y);
  cairo_scale(cairo, hole.along_mm / 2 * kPointsPerMm, hole.across_mm / 2 * kPointsPerMm);
  cairo_new_sub_path(cairo);
  cairo_arc(cairo, 0, 0, 1, 0, 2 * std::numbers::pi);
  cairo_restore(cairo);
}

void draw_true_hole(cairo_t* cairo, const Rect& where, const TrackAssessment& track) {
  const double cx = where.x + where.width / 2, cy = where.y + where.height * 0.36;
  const HoleSize hole = hole_size(track);
  add_true_hole(cairo, hole, cx, cy);
  set_colour(cairo, kInk);
  cairo_fill(cairo);
  const TextStyle style = aligned(style::label, Align::centre);
  draw_line_of_text(cairo, mm(hole.across_mm) + " × " + mm(hole.along_mm), style, cx,
                    cy + hole.across_mm * kPointsPerMm / 2 + 16);
  const double half = 10 * kPointsPerMm, y = where.bottom() - 20;
  draw_segment(cairo, cx - half, y, cx + half, y);
  draw_segment(cairo, cx - half, y - 3, cx - half, y + 3);
  draw_segment(cairo, cx + half, y - 3, cx + half, y + 3);
  stroke(cairo, kInk, 0.7);
  draw_line_of_text(cairo, "20 mm on paper", style, cx, y + 12);
  add_rect(cairo, where);
  stroke(cairo, kRule, 0.5);
}

}  // namespace leastharm
