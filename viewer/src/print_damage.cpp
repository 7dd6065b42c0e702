#include <algorithm>

#include "figure_bars.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

std::vector<Bar> bars_of(const Print& print) {
  std::vector<Bar> bars;
  const std::vector<std::string> names = short_names(print.tracks());
  for (std::size_t n = 0; n < names.size(); ++n)
    bars.push_back({names[n], print.tracks()[n].damage.parts});
  return bars;
}

void print_bars(const Print& print) {
  const std::vector<Bar> bars = bars_of(print);
  double top = 0;
  for (const Bar& bar : bars) top = std::max(top, bar.total());
  print_bars_with_legend(print, bars, top);
  print.sheet.caption(
      "Damage score of each track, part by part, in weighted mm³. A hole shared by tracks counts "
      "once in the whole plan.");
}

void print_parts(const Print& print) {
  const std::vector<Bar> bars = bars_of(print);
  const std::vector<std::string> parts = parts_of(bars);
  // Many parts (zones, keep-outs) would make columns too narrow: the rest then stands together.
  const std::size_t shown = std::min<std::size_t>(parts.size(), 7);
  Table table{{{"Track", 1}}, {}, false};
  for (std::size_t n = 0; n < shown; ++n) {
    const auto material = material_named(parts[n]);
    table.columns.push_back({capital(material ? spoken(*material) : parts[n]), 0.9, Align::right});
  }
  if (parts.size() > shown) table.columns.push_back({"All other", 0.8, Align::right});
  table.columns.push_back({"Score", 0.8, Align::right});
  for (std::size_t n = 0; n < bars.size(); ++n) {
    const Bar& bar = bars[n];
    std::vector<std::string> row{full_name(print.tracks(), n)};
    double other = bar.total();
    for (std::size_t p = 0; p < shown; ++p) {
      double value = 0;
      for (const auto& part : bar.parts)
        if (part.first == parts[p]) value += part.second;
      other -= value;
      row.push_back(number(value, 1));
    }
    if (parts.size() > shown) row.push_back(number(other, 1));
    row.push_back(number(bar.total(), 1));
    table.rows.push_back(row);
  }
  draw_table(print.sheet, table);
}

void print_weights(const Print& print) {
  Sheet& sheet = print.sheet;
  const Weights& weights = request_file_of(print.paper).weights;
  sheet.heading("The weights: the team’s to set", 150);
  Table table{
      {{"What is harmed", 2.2}, {"Weight", 0.7, Align::right}, {"Counted per", 3}}, {}, false};
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (weights.material[m] > 0)
      table.rows.push_back({capital(spoken(static_cast<Material>(m))),
                            number(weights.material[m], 2),
                            "mm³ displaced by the needle’s outer cylinder"});
  table.rows.push_back({"Hole in the plain surface", number(weights.hole_mm, 2),
                        "mm² of hole; an existing opening costs nothing"});
  table.rows.push_back({"Near a keep-out", number(weights.protected_per_mm3, 0),
                        "mm³ of expected intrusion, over the placement error"});
  for (const MarkRecord& mark : print.file().marks)
    if (mark.kind == MarkKind::zone)
      table.rows.push_back(
          {"Zone " + mark.name, number(mark.weight_mm, 2), "mm² of hole inside the zone"});
  draw_table(sheet, table);
  sheet.note(
      "Body tissue weighs 1 by definition: a score reads as “as bad as displacing so many mm³ of "
      "body tissue”. "
      "Air costs nothing.");
}

std::string how_it_ended(const std::string& stopped) {
  if (stopped == "time") return " The search was cut by its time limit.";
  if (stopped == "nodes") return " The search ended after the most work that it does.";
  if (stopped == "gap") return " The search reached the gap that it was asked for.";
  return "";
}

void print_firmness(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("How firm the order is");
  const auto& firmness = print.file().plan.firmness;
  sheet.labelled("Under other weights", firmness ? firmness_sentence(*firmness) : "Not worked out for this plan.");
  sheet.labelled("Against the least possible",
                 certificate_sentence(print.paper) + " " + kLeastHarmMeans);
  const auto& certificate = print.file().plan.certificate;
  if (certificate) {
    sheet.labelled("What that covers",
                   certificate->covers.empty() ? kNotAnswered : certificate->covers);
    sheet.labelled(
        "How it was found",
        "Method: " + (certificate->method.empty() ? std::string("none yet") : certificate->method) +
            ". Lower bound " + number(certificate->lower_bound, 1) + ", gap " +
            number(100 * certificate->gap, 1) + " % of the score." +
            how_it_ended(print.file().plan.stopped));
  }
}

/// What a committee weighs one route against another by.
std::vector<std::string> route_row(const std::string& id, const std::string& best_in, const std::string& place,
                                   const TrackAssessment& t, double plan_score) {
  const auto* touched = likeliest_touch(t);
  return {id,
          best_in,
          place,
          number(t.damage.score, 1),
          mg(t.core.mass_mg),
          t.core.p_enough ? chance(*t.core.p_enough) : "–",
          touched != nullptr ? chance(touched->second) : "–",
          number(plan_score, 1)};
}

void print_alternatives(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("Other routes that were weighed", 84);
  if (print.paper.alternatives.empty())
    return sheet.paragraph("No clearly different route was found that keeps every limit.");
  Table table{{{"Route", 0.55},
               {"Best in", 2.1},
               {"In place of", 0.6},
               {"Its own score", 0.7, Align::right},
               {"Mass, median", 0.8, Align::right},
               {"Chance of enough", 0.8, Align::right},
               {"Largest chance to touch", 0.9, Align::right},
               {"Score of the plan with it", 0.9, Align::right}},
              {},
              false};
  for (const Alternative& a : print.paper.alternatives)
    table.rows.push_back(route_row(a.id, a.best_in, a.in_place_of, a.route(), a.assessment.programme.score));
  for (std::size_t n = 0; n < print.tracks().size(); ++n)
    table.rows.push_back(route_row(full_name(print.tracks(), n), "in the plan", "", print.tracks()[n],
                                   print.paper.assessment.programme.score));
  draw_table(sheet, table);
}

}  // namespace

void print_bars_with_legend(const Print& print, const std::vector<Bar>& bars, double top) {
  constexpr double indent = 86;
  Sheet& sheet = print.sheet;
  const double bars_height = kBarRow * static_cast<double>(bars.size()) + 17.5;
  const double legend =
      draw_legend(sheet.cairo(), {0, 0, sheet.area().width - indent, 0}, parts_of(bars), false);
  const Rect where = sheet.box(bars_height + legend + 3.5);
  draw_bars(sheet.cairo(), where, bars, top);
  draw_legend(sheet.cairo(),
              {where.x + indent, where.y + bars_height, where.width - indent, legend},
              parts_of(bars), true);
}

void print_damage(const Print& print) {
  print.sheet.section(title::damage, 300);
  if (!print.tracks().empty()) {
    print_bars(print);
    print_parts(print);
  }
  print_weights(print);
  print_firmness(print);
  print_alternatives(print);
}

}  // namespace leastharm
