#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {

void print_identity(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::identity, 330);   // all of it on one page
  sheet.labelled("Object", print.file().object_id);
  sheet.labelled("Plan version", std::to_string(print.file().plan_version));
  sheet.labelled("Software", "Leastharm " + print.paper.software_version);
  sheet.skip(7);
  Table table{{{"Part", 1}, {"SHA-256", 4.2}}, {}, false};
  table.rows.push_back({"Plan, as a whole", print.paper.plan_sha256});
  table.rows.push_back({"CT volume", print.file().ct.sha256});
  table.rows.push_back({"Material map", print.file().materials_sha256});
  for (const auto& [part, hash] : print.paper.parts)
    if (part != "CT" && part != "materials") table.rows.push_back({capital(part), hash});
  draw_table(sheet, table);
  sheet.note(
      "An approval can be given against the first eight or more signs of the plan’s hash, so that "
      "it cannot be given to "
      "another plan than the one on this paper.");
}

}  // namespace leastharm
