#include "print_sections.h"
#include "words.h"

namespace leastharm {

void print_hazards(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::hazards);
  sheet.notice(
      "Planning aid only. Licensed people and local rules decide; where they differ from this "
      "page, they hold.");
  const std::pair<const char*, const char*> cautions[] = {
      {"Human remains",
       "Handle, cover and picture the body with dignity, by the rules of its keepers and of the "
       "communities it belongs to."},
      {"Needles",
       "Sharp and open at the end. Cap them one-handed or not at all, keep the bin at arm’s reach, "
       "one needle a track."},
      {"Old pesticides",
       "Organic collections were often treated with arsenic, mercury or DDT; residues are seldom "
       "visible. Test, for instance by X-ray fluorescence, before planning."},
      {"Mould and dust",
       "Spores, wood dust, natron and fine quartz can harm the lungs. Tight-fitting particle "
       "masks, gloves, local extraction with a fine filter; never blow."},
      {"Radiation",
       "Everybody leaves the room for each exposure; no hand in the beam. Keep within local dose "
       "rules and log the dose to the object as well."},
      {"Contamination",
       "Unused-needle, field and procedural blanks; glass or foil instead of plastic for resins "
       "and oils; people’s own DNA kept on file where DNA is asked for."},
  };
  for (const auto& [label, text] : cautions) sheet.labelled(label, text);
  sheet.heading("What this case answers");
  sheet.labelled("Pesticide test", answer(print.file(), "pesticide test"));
  sheet.labelled("Dose log", answer(print.file(), "dose log"));
  sheet.labelled("Operator", answer(print.file(), "operator"));
}

}  // namespace leastharm
