#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

/// Rows to be filled in by hand: tall enough to write in.
void print_labels(const Print& print) {
  Sheet& sheet = print.sheet;
  const double row = 24.5;
  const std::pair<const char*, double> columns[] = {
      {"Label", 0.26},     {"Gross, mg", 0.10}, {"Tare, mg", 0.10},     {"Net, mg", 0.10},
      {"Container", 0.14}, {"Custodian", 0.16}, {"Date and time", 0.14}};
  const Rect& area = sheet.area();
  const auto draw_head = [&] {
    draw_rule(sheet.cairo(), area.x, area.right(), sheet.y(), 0.8);
    double x = area.x;
    for (const auto& [head, share] : columns) {
      TextBlock(sheet.cairo(), head, style::table_head, share * area.width - 6)
          .draw(x, sheet.y() + 1.75);
      x += share * area.width;
    }
    sheet.skip(14);
    draw_rule(sheet.cairo(), area.x, area.right(), sheet.y(), 0.5);
  };
  sheet.need(14 + row);
  draw_head();
  for (const TrackAssessment& t : print.tracks()) {
    if (sheet.need(row)) draw_head();
    TextStyle label = style::table;
    label.most_lines = 2;
    TextBlock(sheet.cairo(), print.file().object_id + " / " + t.track.id, label,
              0.26 * area.width - 6)
        .draw(area.x, sheet.y() + 2);
    double x = area.x;
    for (const auto& column : columns) {
      x += column.second * area.width;
      if (x < area.right() - 1)
        draw_segment(sheet.cairo(), x - 4, sheet.y() + 3, x - 4, sheet.y() + row - 3);
    }
    stroke(sheet.cairo(), kRule, 0.4);
    sheet.skip(row);
    draw_rule(sheet.cairo(), area.x, area.right(), sheet.y(), 0.3, kRule);
  }
  sheet.skip(10.5);
}

/// What was recorded so far.
void print_cores(const Print& print) {
  const std::vector<Core> cores = cores_of(print.file().records);
  if (cores.empty()) return;
  print.sheet.heading("Recorded so far");
  Table table{{{"Track", 0.6},
               {"Sample", 1.3},
               {"Net, mg", 0.55, Align::right},
               {"Used, mg", 0.6, Align::right},
               {"Left, mg", 0.55, Align::right},
               {"Tip off the plan", 0.8, Align::right},
               {"Container, custodian", 1.6},
               {"When, by whom", 1.5}},
              {},
              false};
  for (const Core& c : cores) {
    const Taken& t = c.taken;
    std::string who = date_words(t.taken_at);
    for (const Person& p : t.persons) who += ", " + p.name + " (" + p.role + ")";
    const auto mass = [&](double value) { return t.aborted ? std::string("–") : number(value, 1); };
    table.rows.push_back(
        {c.track, t.aborted ? "aborted: " + t.reason : t.sample, mass(t.net_mg), mass(c.used_mg()),
         mass(c.left_mg()),
         c.held_against_plan.is_null() ? "–" : mm(c.held_against_plan.at("tip_mm")),
         t.aborted ? "–" : t.container + "; " + t.custodian, who});
  }
  draw_table(print.sheet, table);
}

}  // namespace

void print_after(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::after);
  if (!print.tracks().empty()) print_labels(print);
  print_cores(print);
  sheet.labelled("Remains", answer(print.file(), "remains"));
  sheet.labelled("Custodian", answer(print.file(), "custodian"));
  sheet.labelled("Analyst", answer(print.file(), "analyst"));
  sheet.labelled("Conditions", answer(print.file(), "conditions"));
  sheet.labelled("Storage",
                 "Glass or foil for resins and oils, closed, labelled, cool and dark unless the "
                 "laboratory says otherwise "
                 "(common practice, no published source).");
  sheet.labelled("Records",
                 "Write down for each track what was really done: actual entry and tip, or broken "
                 "off and why; needle; masses; container; "
                 "custodian; time; persons. What is used comes off the sample’s balance. "
                 "Corrections are added, never written over. Reports and raw data "
                 "join the object’s permanent record (ICOM Code of Ethics, 3.6).");
}

}  // namespace leastharm
