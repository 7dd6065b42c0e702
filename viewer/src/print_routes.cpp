#include <algorithm>

#include "figure_bars.h"
#include "figure_route.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

std::string route_sentence(const Print& print, const TrackAssessment& t) {
  const Request* request = request_of(print.paper, t);
  std::string text = capital(t.side.empty() ? "side not known" : t.side) + ". ";
  if (request)
    text += "For request " + request->id + ": " + wanted_material(*request) + " from " +
            from_where(*request) + ". ";
  std::vector<std::string> passed;
  for (const Crossing& c : t.crossings)
    if (c.to_mm - c.from_mm >= 0.05) passed.push_back(spoken(c.material) + " " + mm(c.to_mm - c.from_mm));
  return text + "In order from the entry: " + listed(passed) + ".";
}

std::string keep_outs_words(const TrackAssessment& t) {
  if (t.clearance_mm.empty()) return "none marked";
  std::vector<std::pair<double, std::string>> order;
  for (const auto& [name, clearance] : t.clearance_mm) order.emplace_back(clearance, name);
  std::sort(order.begin(), order.end());
  std::string text;
  for (std::size_t n = 0; n < std::min<std::size_t>(2, order.size()); ++n)
    text += (n ? "; " : "") + order[n].second + " " + mm(order[n].first);
  if (order.size() > 2) text += "; " + std::to_string(order.size() - 2) + " more, farther off";
  return text;
}

std::string touch_words(const TrackAssessment& t) {
  const auto* touch = likeliest_touch(t);
  if (!touch) return "no keep-out marked";
  const auto se = t.p_touch_se.find(touch->first);
  return (se == t.p_touch_se.end() ? chance(touch->second)
                                   : chance_with_error(touch->second, se->second)) +
         " (" + touch->first + ")";
}

using Pair = std::pair<std::string, std::string>;

std::vector<Pair> route_numbers(const TrackAssessment& t) {
  const Needle& needle = t.track.needle;
  return {
      {"Needle", (needle.name.empty() ? "by its measures" : needle.name) + ", outer " +
                     mm(needle.outer_mm, 2) + ", bore " + mm(needle.bore_mm, 2)},
      {"Depth to the tip", mm(t.path_length_mm)},
      {"Mass wanted", mass_with_interval(t.core) + ", 90 % interval"},
      {"Entry angle", number(t.entry_angle_deg, 1) + "° from square to the surface"},
      {"All in the bore", mg(t.core.all_mass_mg) + " in " + number(t.core.volume_mm3, 1) + " mm³"},
      {"Tilt", number(t.tilt_deg, 1) + "° out of the axial plane"},
      {"Chance of enough", t.core.p_enough ? chance(*t.core.p_enough) : "no request"},
      {"Hole",
       number(t.hole_area_mm2, 1) + " mm²" + (t.through_opening ? ", in an existing opening" : "")},
      {"Chance to reach", chance(t.p_reach)},
      {"Keep-outs, free by", keep_outs_words(t)},
      {"Damage score", number(t.damage.score, 1)},
      {"Chance to touch", touch_words(t)},
  };
}

constexpr double kNumbersGap = 16, kNumbersName = 78;

/// One row of the numbers: two pairs of name and value side by side.
struct NumbersRow {
  std::vector<TextBlock> blocks;
  double height = 0;
};

std::vector<NumbersRow> break_numbers(Sheet& sheet, const std::vector<Pair>& pairs) {
  const double column = (sheet.area().width - kNumbersGap) / 2;
  TextStyle value = style::table, name = style::table;
  value.most_lines = 3;
  name.weight = Weight::bold;
  std::vector<NumbersRow> rows;
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    if (n % 2 == 0) rows.emplace_back();
    NumbersRow& row = rows.back();
    row.blocks.emplace_back(sheet.cairo(), pairs[n].first, name, kNumbersName);
    row.blocks.emplace_back(sheet.cairo(), pairs[n].second, value, column - kNumbersName);
    row.height = std::max(row.height, row.blocks.back().height() + kGridPt);
  }
  return rows;
}

double height_of(const std::vector<NumbersRow>& rows) {
  double height = kGridPt;
  for (const NumbersRow& row : rows) height += row.height;
  return height;
}

void print_numbers(Sheet& sheet, const std::vector<NumbersRow>& rows) {
  const double column = (sheet.area().width - kNumbersGap) / 2;
  sheet.need(height_of(rows));
  draw_rule(sheet.cairo(), sheet.area().x, sheet.area().right(), sheet.y(), 0.8);
  for (std::size_t n = 0; n < rows.size(); ++n) {
    for (std::size_t b = 0; b < rows[n].blocks.size(); ++b) {
      const double x =
          sheet.area().x + (b >= 2 ? column + kNumbersGap : 0) + (b % 2 ? kNumbersName : 0);
      rows[n].blocks[b].draw(x, sheet.y() + kGridPt / 2);
    }
    sheet.skip(rows[n].height);
    const bool last = n + 1 == rows.size();
    draw_rule(sheet.cairo(), sheet.area().x, sheet.area().right(), sheet.y(), last ? 0.8 : 0.25,
              last ? kInk : kRule);
  }
  sheet.skip(kGridPt);
}

void print_small_pictures(const Print& print, const TrackAssessment& t, double height) {
  Sheet& sheet = print.sheet;
  const Rect row = sheet.box(height);
  const double gap = 10, hole = 92, across = 1.15 * height,
               slice = row.width - across - hole - 2 * gap;
  const Rect at_across{row.x, row.y, across, height},
      at_slice{row.x + across + gap, row.y, slice, height},
      at_hole{row.right() - hole, row.y, hole, height};
  int k = 0;
  if (!print.draft) {
    draw_section_across(sheet.cairo(), at_across, print.paper, t);
    k = draw_scanner_slice(sheet.cairo(), at_slice, print.paper, t);
    draw_true_hole(sheet.cairo(), at_hole, t);
  }
  sheet.skip(3.5);
  const std::pair<Rect, std::string> captions[] = {
      {at_across, "Across the needle at the core’s middle: outer circle and bore to scale."},
      {at_slice, "Scanner slice " + std::to_string(k) +
                     " through the core’s middle; the track projected onto it."},
      {at_hole, "The hole at true size, printed at 100 %."}};
  double lowest = 0;
  for (const auto& [where, text] : captions) {
    const TextBlock block(sheet.cairo(), text, style::caption, where.width);
    block.draw(where.x, sheet.y());
    lowest = std::max(lowest, block.height());
  }
  sheet.skip(lowest + 7);
}

std::string section_caption(const Print& print) {
  std::string text =
      "Section that contains the needle, and the crossing log on the same millimetre axis. Grey: " +
      number(kGreyScale.black_hu, 0) + " HU black to " + number(kGreyScale.white_hu, 0) +
      " HU white. Lines: borders of the material map, smoothed between voxels; dashed: keep-outs; "
      "dotted: cavity.";
  if (!print.file().frame) text += " Sides not confirmed: directions are the scanner’s.";
  return text;
}

/// How tall the pictures may be so that the route stays on its page.
struct PictureHeights {
  double along = 0, small = 0;
};
PictureHeights share_out(double room) {
  return {std::clamp(0.55 * room, 84.0, 189.0), std::clamp(0.45 * room, 77.0, 147.0)};
}

void print_route(const Print& print, std::size_t n) {
  Sheet& sheet = print.sheet;
  const TrackAssessment& t = print.tracks()[n];
  const std::string name = "Route " + full_name(print.tracks(), n);
  sheet.outline(name, name);
  sheet.wide(name, TextStyle{14, 17.5, Weight::bold, false, kInk, Align::left, 2});
  sheet.wide(route_sentence(print, t),
             TextStyle{8.8, 12.25, Weight::regular, false, kInk, Align::left, 3});
  sheet.skip(5.25);
  const std::vector<NumbersRow> numbers = break_numbers(sheet, route_numbers(t));
  std::vector<std::string> findings;
  for (const Finding& finding : t.findings) findings.push_back(finding_words(finding));
  constexpr double captions = 87.5;  // two captions, their gaps, and a line in reserve
  const double fixed =
      kLogHeight + captions + height_of(numbers) + 28.0 * static_cast<double>(findings.size());
  const PictureHeights heights = share_out(sheet.room() - fixed);
  const Rect along = sheet.box(heights.along);
  sheet.skip(7);
  const Rect log = sheet.box(kLogHeight);
  if (!print.draft) {
    const DepthAxis axis = depth_axis(t, along);
    draw_section_along(sheet.cairo(), along, print.paper, t, axis);
    draw_crossing_log(sheet.cairo(), log, print.paper, t, axis);
  }
  sheet.caption(section_caption(print));
  print_small_pictures(print, t, heights.small);
  print_numbers(sheet, numbers);
  if (!findings.empty()) sheet.bullets("Findings", findings);
}

}  // namespace

void print_routes(const Print& print) {
  Sheet& sheet = print.sheet;
  if (!sheet.page_is_fresh()) sheet.new_page();
  sheet.section(title::routes);
  if (print.tracks().empty()) return sheet.paragraph("No track is planned yet.");
  for (std::size_t n = 0; n < print.tracks().size(); ++n) {
    if (n > 0) sheet.new_page();
    print_route(print, n);
  }
}

}  // namespace leastharm
