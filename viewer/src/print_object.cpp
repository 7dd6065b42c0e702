#include <algorithm>
#include <cmath>

#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

/// An acquisition fact as people say it; its key carries the unit.
std::string fact_words(const std::string& name, const std::string& value) {
  if (name == "kVp") return "tube voltage " + value + " kV";
  if (name == "tube_current_mA") return "tube current " + value + " mA";
  if (name == "exposure_mAs") return "exposure " + value + " mAs";
  if (name == "slice_thickness_mm") return "slice thickness " + value + " mm";
  return name + " " + value;
}

void print_ct(const Print& print) {
  const CtReference& ct = print.file().ct;
  const Grid& grid = ct.grid;
  Sheet& sheet = print.sheet;
  sheet.heading("The CT this plan was made on");
  sheet.labelled("Volume", std::to_string(grid.size[0]) + " × " + std::to_string(grid.size[1]) +
                               " × " + std::to_string(grid.size[2]) + " voxels of " +
                               number(grid.spacing_mm.x(), 2) + " × " +
                               number(grid.spacing_mm.y(), 2) + " × " + mm(grid.spacing_mm.z(), 2));
  std::string facts;
  for (const auto& [name, value] : ct.facts)
    if (name != "modality") facts += (facts.empty() ? "" : " · ") + fact_words(name, value);
  sheet.labelled("Acquisition", facts.empty() ? "not recorded in the CT" : facts);
  sheet.labelled("Series", ct.series_uid.empty() ? "no UID" : ct.series_uid);
  const std::string air = std::isnan(ct.air_check_hu)
                              ? "No room air was found in the field, so the scanner's HU could not be checked."
                              : "Room air reads " + number(ct.air_check_hu, 0) + " HU (a well set scanner: −1000 HU).";
  sheet.labelled("Scanner check", air + " Noise in one voxel: " + number(ct.noise_hu, 0) + " HU, standard deviation.");
  std::vector<std::string> findings;
  for (const auto* list : {&ct.findings, &print.file().map_findings})
    for (const Finding& finding : *list) findings.push_back(finding_words(finding));
  if (!findings.empty()) sheet.bullets("Findings", findings);
}

void print_frame(const Print& print) {
  const CaseFile& file = print.file();
  std::string text;
  if (file.frame)
    text = "Where head, front, left and right lie was confirmed by " +
           (file.frame_by.empty() ? "a person not named" : file.frame_by) +
           (file.frame_at.empty() ? "" : ", " + date_words(file.frame_at)) +
           ". Left and right are the body’s own.";
  else
    text =
        "Sides not confirmed. No person has yet confirmed where head and front lie, so every side "
        "in this paper is the "
        "scanner’s, and says so.";
  print.sheet.labelled("Body frame", text);
}

void print_materials(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("Materials told apart in the CT", 150);
  Table table{{{"Material", 1.1},
               {"Volume, cm³", 0.8, Align::right},
               {"Share of the object", 1, Align::right},
               {"How it is drawn in this paper", 2.6}},
              {},
              false};
  const auto& volume = print.file().volume_mm3;
  double object = 0, largest = 0;
  for (std::size_t m = 1; m < kMaterialCount; ++m) {
    if (static_cast<Material>(m) != Material::support) object += volume[m];
    largest = std::max(largest, volume[m]);
  }
  for (std::size_t m = 1; m < kMaterialCount; ++m) {
    if (volume[m] <= 0) continue;
    const auto material = static_cast<Material>(m);
    const bool support = material == Material::support;
    table.rows.push_back(
        {capital(spoken(material)), number(volume[m] / 1000, volume[m] < 1e5 ? 1 : 0),
         support ? "not part of it" : number(100 * volume[m] / object, 1) + " %", ""});
    table.bars.emplace_back(name_of(material), volume[m] / largest);
  }
  draw_table(sheet, table);
  sheet.note(
      "Loose linen and loose plant packing look alike in a CT; where they lie tells them apart. "
      "Resin, wax, "
      "bitumen and dried tissue overlap in HU at one energy, and this map cannot name them.");
}

std::string made_by_words(const MarkRecord& mark) {
  const auto& by = mark.made_by;
  if (!by.is_object() || by.empty()) return "not recorded";
  const std::string how = by.begin().key();
  if (how == "automatic") return "found by the program: dense object";
  if (how == "ball_lps_mm") return "ball set by a person";
  if (how == "connected_lps_mm") return "connected material, seed set by a person";
  if (how == "contours") return "outlines drawn by a person";
  if (how == "material") return "all that the map calls " + by["material"].get<std::string>();
  if (how == "mask") return "mask file given by a person";
  if (how == "carried") return "carried from the plan before, by registration";
  return how + ", given by a person";
}

void print_marks(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.heading("Marks");
  if (print.file().marks.empty()) return sheet.paragraph("No mark is set.");
  Table table{
      {{"Name", 2}, {"Kind", 0.9}, {"Volume, cm³", 0.9, Align::right}, {"How it was set", 2}},
      {},
      false};
  for (const MarkRecord& mark : print.file().marks) {
    std::string kind(name_of(mark.kind));
    if (mark.kind == MarkKind::zone) kind += ", weight " + mm(mark.weight_mm);
    table.rows.push_back({mark.name, kind, number(mark.volume_mm3 / 1000, 2), made_by_words(mark)});
  }
  draw_table(sheet, table);
  std::vector<std::string> waivers;
  for (const Waiver& waiver : print.file().waivers)
    waivers.push_back("“" + waiver.mark + "” is no longer protected. Waived by " + waiver.by +
                      ", " + date_words(waiver.at) + ". Reason: " + waiver.why);
  if (!waivers.empty()) sheet.bullets("Waivers", waivers);
}

}  // namespace

void print_object(const Print& print) {
  Sheet& sheet = print.sheet;
  const CaseFile& file = print.file();
  sheet.section(title::object);
  sheet.labelled("Object id", file.object_id);
  sheet.labelled("What it is", answer(file, "object"));
  sheet.labelled("Owner", answer(file, "owner"));
  sheet.labelled("Custodian", answer(file, "custodian"));
  sheet.labelled("Legal status", answer(file, "legal status"));
  sheet.labelled("Consultation", answer(file, "consultation"));
  sheet.labelled("Condition", answer(file, "condition"));
  if (!print.paper.withheld.empty())
    sheet.labelled("Withheld", "No picture in this paper shows: " + listed(print.paper.withheld) +
                                   ". Left out at the wish of whoever printed it.");
  print_frame(print);
  print_ct(print);
  print_materials(print);
  print_marks(print);
}

}  // namespace leastharm
