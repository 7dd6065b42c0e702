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

}  // namespace

void print_after(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::after);
  if (!print.tracks().empty()) print_labels(print);
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
