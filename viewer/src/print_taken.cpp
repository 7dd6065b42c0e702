#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

std::string sides_words(Sides sides) {
  switch (sides) {
    case Sides::left:
      return "left";
    case Sides::right:
      return "right";
    case Sides::both:
      return "both";
    case Sides::any:
      break;
  }
  return "any";
}

std::string assays_words(const Request& request) {
  std::string text;
  for (const Assay& assay : request.assays)
    text += (text.empty() ? "" : "; ") + assay.name +
            (assay.uses_mg > 0 ? " (uses " + mg(assay.uses_mg) + ")" : " (uses nothing up)");
  return text.empty() ? "none named" : text;
}

void print_requests(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("What the laboratory asks for", 110);
  const auto& requests = request_file_of(print.paper).requests;
  if (requests.empty())
    return sheet.paragraph("No request is recorded. The tracks were set by hand.");
  Table table{{{"Request", 0.9},
               {"Material and place", 1.7},
               {"Assays, mildest first", 2.2},
               {"To keep", 0.7, Align::right},
               {"Need of one", 0.8, Align::right},
               {"Cores", 0.5, Align::right},
               {"Sides", 0.5}},
              {},
              false};
  for (const Request& request : requests)
    table.rows.push_back({request.id,
                          capital(wanted_material(request)) + " from " + from_where(request),
                          assays_words(request), mg(request.retain_mg),
                          mg(request.need_mg()) + (request.pooled ? " over all cores" : ""),
                          std::to_string(request.replicates), sides_words(request.sides)});
  draw_table(sheet, table);
  sheet.note(
      "Need of one core = what its assays use up + what stays in the archive. What is looked at "
      "whole can "
      "still be used by a later assay.");
}

std::string together_words(const Print& print) {
  const Programme& programme = print.paper.assessment.programme;
  std::string text =
      "All cores together: " + mg(programme.mass_mg) + " of what is wanted (90 % interval " +
      number(programme.mass_mg_p05, 1) + " to " + number(programme.mass_mg_p95, 1) + "), through " +
      counted(programme.holes, "new hole") +
      (programme.hole_mm2 > 0 ? " of " + number(programme.hole_mm2, 1) + " mm² in all." : ".");
  for (const auto& [request, p] : programme.p_enough)
    text += " Chance that request " + request + " is met by its cores: " + chance(p) + ".";
  return text;
}

void print_cores(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("What each core takes", 140);
  Table table{{{"Track", 0.8},
               {"Request", 0.9},
               {"Side", 0.8},
               {"Needle, mm: outer / bore", 1.0, Align::right},
               {"Core, mm", 0.6, Align::right},
               {"Core, mm³", 0.6, Align::right},
               {"Mass wanted, mg: median (90 % interval)", 1.5, Align::right},
               {"All in the bore, mg", 0.8, Align::right},
               {"Enough", 0.75, Align::right}},
              {},
              false};
  for (std::size_t n = 0; n < print.tracks().size(); ++n) {
    const TrackAssessment& t = print.tracks()[n];
    const Needle& needle = t.track.needle;
    table.rows.push_back(
        {full_name(print.tracks(), n), t.track.request.empty() ? "–" : t.track.request,
         t.side.empty() ? "–" : t.side,
         number(needle.outer_mm, 2) + " / " + number(needle.bore_mm, 2), number(needle.throw_mm, 0),
         number(t.core.volume_mm3, 1),
         number(t.core.mass_mg, 1) + " (" + number(t.core.mass_mg_p05, 1) + " to " +
             number(t.core.mass_mg_p95, 1) + ")",
         number(t.core.all_mass_mg, 1), t.core.p_enough ? chance(*t.core.p_enough) : "no request"});
  }
  draw_table(sheet, table);
  sheet.note(together_words(print) +
             " Foreign material in a core, such as body wall, is shown in the next to last column "
             "but never counts. "
             "“Enough” is the chance that the core holds what its request needs.");
  std::vector<std::string> findings;
  for (const Finding& finding : print.paper.assessment.programme.findings)
    findings.push_back(finding_words(finding));
  for (const Blocking& b : print.file().plan.blocking)
    findings.push_back("Not answered in full: request " + b.request + ", " + b.constraint +
                       " needs " + number(b.needed, 1) + " " + b.unit + ", best found " +
                       number(b.best_found, 1) + " " + b.unit +
                       (b.remedy.empty() ? "." : ". " + capital(b.remedy)));
  if (!findings.empty()) sheet.bullets("Findings", findings);
}

}  // namespace

void print_taken(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::taken);
  print_requests(print);
  print_cores(print);
  const double height = print.pictures.lying ? 290 : 330;
  const Rect where = sheet.box(height);
  double used = height;
  if (!print.draft) used = draw_body(sheet.cairo(), where, print.pictures, print.paper);
  (void)used;
  sheet.caption(
      "The object from two sides, with every track from its hole (ring) to the tip. Drawn from the "
      "material map of "
      "the CT; the support is left out.");
}

}  // namespace leastharm
