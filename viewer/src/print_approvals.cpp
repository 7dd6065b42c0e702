#include "plan_facts.h"
#include "planner/approvals.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

std::string status_of(const Approval& approval, const CaseFile& file) {
  const std::vector<std::string> changed = changed_since(approval, file);
  if (!changed.empty()) return "void: " + listed(changed) + " changed since";
  if (!approval.voided.empty()) return "void: " + approval.voided;
  return &approval == last_statement(file, approval.role) ? "valid" : "replaced by a later one";
}

void print_recorded(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("Recorded statements");
  if (print.file().approvals.empty()) return sheet.paragraph("None yet.");
  Table table{{{"Role", 1},
               {"By", 1.2},
               {"When", 1},
               {"Decision", 0.8},
               {"Condition and note", 2},
               {"Status", 1.2}},
              {},
              false};
  for (const Approval& approval : print.file().approvals) {
    std::string said = approval.condition.empty() ? "" : "Condition: " + approval.condition;
    if (!approval.note.empty()) said += (said.empty() ? "" : ". ") + ("Note: " + approval.note);
    table.rows.push_back({approval.role, approval.by, date_words(approval.at), approval.decision,
                          said.empty() ? "–" : said, status_of(approval, print.file())});
  }
  draw_table(sheet, table);
}

void print_signature_lines(Sheet& sheet) {
  sheet.heading("Signatures", 230);
  const Rect& area = sheet.area();
  const std::pair<const char*, double> columns[] = {{"Role", 0.18},
                                                    {"Name", 0.24},
                                                    {"Yes / no, conditions", 0.26},
                                                    {"Signature", 0.2},
                                                    {"Date", 0.12}};
  const auto each_column = [&](auto draw) {
    double x = area.x;
    for (const auto& [head, share] : columns) {
      draw(x, share * area.width, head);
      x += share * area.width;
    }
  };
  each_column([&](double x, double width, const char* head) {
    TextBlock(sheet.cairo(), head, style::table_head, width - 8).draw(x, sheet.y());
  });
  sheet.skip(14);
  for (const char* role :
       {"Radiologist", "Conservator", "Committee", "Custodian", "Material scientist"}) {
    sheet.need(38.5);
    draw_line_of_text(sheet.cairo(), role, style::body, area.x, sheet.y() + 28);
    sheet.skip(31.5);
    each_column([&](double x, double width, const char* head) {
      if (std::string(head) != "Role") draw_rule(sheet.cairo(), x, x + width - 10, sheet.y(), 0.5);
    });
    sheet.skip(7);
  }
}

}  // namespace

void print_approvals(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::approvals);
  sheet.paragraph(
      "An approval here is a recorded statement, not a legal signature. It binds CT, materials, "
      "marks, frame, request, weights, "
      "needles, limits, tracks and waivers as they are in this plan; any change to one of them "
      "voids it. Radiologist, conservator "
      "and committee must all agree. Refusing is a valid answer, and is recorded too.");
  sheet.labelled("Conditions set", answer(print.file(), "conditions"));
  print_recorded(print);
  print_signature_lines(sheet);
}

}  // namespace leastharm
