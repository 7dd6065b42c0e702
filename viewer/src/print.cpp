#include "viewer/print.h"

#include "imaging/whole_file.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "type.h"

namespace leastharm {
namespace {

SheetFacts facts_of(const Paper& paper) {
  return {"Sampling plan for " + paper.file.object_id,
          plan_name(paper) + ", SHA-256 " + paper.plan_sha256, paper.file.object_id,
          plan_name(paper), latest_date(paper.file)};
}

/// One run over all sections.
std::string compose(const Paper& paper, const BodyPictures& pictures, PageSize size,
                    PageNotes& notes, bool draft) {
  Sheet sheet(size, facts_of(paper), notes);
  const Print print{sheet, paper, pictures, draft};
  for (const auto section : {print_summary, print_object, print_why, print_taken, print_routes,
                             print_damage, print_certainty, print_mass, print_hazards, print_day,
                             print_after, print_approvals, print_identity})
    section(print);
  std::string bytes = sheet.finish();
  notes = sheet.notes();
  return bytes;
}

}  // namespace

void print_plan(const Paper& paper, const std::filesystem::path& output, PageSize size) {
  require_typeface();
  const BodyPictures pictures = picture_body(paper);
  PageNotes notes;
  compose(paper, pictures, size, notes, true);
  write_whole(output, compose(paper, pictures, size, notes, false));
}

}  // namespace leastharm
