#include "figure_charts.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

void print_chances(const Print& print) {
  Table table{{{"Track", 0.8},
               {"Reaches what is asked for", 1, Align::right},
               {"Holds enough", 1, Align::right},
               {"Mass, mg: median (90 % interval)", 1.5, Align::right},
               {"Need, mg", 0.7, Align::right},
               {"Most likely touched keep-out", 1.6},
               {"Chance to touch", 1.1, Align::right}},
              {},
              false};
  for (std::size_t n = 0; n < print.tracks().size(); ++n) {
    const TrackAssessment& t = print.tracks()[n];
    const auto* touch = likeliest_touch(t);
    const Request* request = request_of(print.paper, t);
    std::string touched = "–";
    if (touch) {
      const auto se = t.p_touch_se.find(touch->first);
      touched = se == t.p_touch_se.end() ? chance(touch->second)
                                         : chance_with_error(touch->second, se->second);
    }
    table.rows.push_back({full_name(print.tracks(), n), chance(t.p_reach),
                          t.core.p_enough ? chance(*t.core.p_enough) : "no request",
                          number(t.core.mass_mg, 1) + " (" + number(t.core.mass_mg_p05, 1) +
                              " to " + number(t.core.mass_mg_p95, 1) + ")",
                          request ? number(request->need_mg(), 1) : "–",
                          touch ? touch->first : "none marked", touched});
  }
  draw_table(print.sheet, table);
}

void print_masses(const Print& print) {
  std::vector<MassRow> rows;
  const std::vector<std::string> names = short_names(print.tracks());
  for (std::size_t n = 0; n < print.tracks().size(); ++n) {
    const TrackAssessment& t = print.tracks()[n];
    const Request* request = request_of(print.paper, t);
    rows.push_back({names[n], t.core.mass_mg, t.core.mass_mg_p05, t.core.mass_mg_p95,
                    request && !request->pooled ? request->need_mg() : 0});
  }
  const Rect where = print.sheet.box(height_of_masses(rows.size()));
  if (!print.draft) draw_masses(print.sheet.cairo(), where, rows);
  print.sheet.caption(
      "Mass in each core: the dot is the median, the line holds nine cores in ten. The thick bar "
      "is what one core must give.");
}

void print_placement(const Print& print) {
  Sheet& sheet = print.sheet;
  const Placement& placement = request_file_of(print.paper).placement;
  const Limits& limits = request_file_of(print.paper).limits;
  sheet.labelled("How far a needle may land from its aim",
                 "Sideways at the tip, in each of two directions: standard deviation " +
                     mm(placement.placement_mm) + "; along the needle: " + mm(placement.depth_mm) +
                     "; of the sideways part, common to all tracks: " + mm(placement.shared_mm) +
                     ". Published CT-guided placements in phantoms missed by 4.0 ± 2.7 mm with "
                     "laser guidance and 6.3 ± 3.6 mm "
                     "freehand (Gruber-Rouh et al. 2015); a mean miss of 4 to 6 mm in space is a "
                     "deviation of 2.5 to 3.8 mm per direction. "
                     "Dry, brittle layers have not been measured.");
  sheet.labelled("What the chances contain",
                 "Placement, CT noise and offset, composition, recovery of the core from the "
                 "needle, and the certainty of the "
                 "material map, drawn at random together. A mass is a median with its 90 % "
                 "interval: one core in twenty "
                 "holds less than the lower figure.");
  sheet.labelled("Limits kept",
                 "Entry angle up to " + number(limits.entry_angle_deg, 0) + "°, tilt up to " +
                     number(limits.tilt_deg, 0) + "°, " + mm(limits.clearance_mm) +
                     " clear of keep-outs, bone up to " + mm(limits.bone_mm) + ", holes " +
                     mm(limits.hole_spacing_mm, 0) + " apart, chance of enough at least " +
                     chance(limits.p_enough_min) + ", chance to touch a keep-out at most " +
                     chance(limits.p_touch_max) + ".");
}

}  // namespace

void print_certainty(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::certainty);
  if (!print.tracks().empty()) {
    print_chances(print);
    print_masses(print);
  }
  print_placement(print);
  sheet.bullets("What can go wrong", {"The core comes out short or empty. The plan counts on part "
                                      "of the bore only, and a core may still hold less.",
                                      "The needle drifts, most of all at a slanting or a hard "
                                      "layer, and crosses other material than planned.",
                                      "The map is wrong: resin, wax, bitumen and dried tissue look "
                                      "alike in a CT, and so do linen and loose packing.",
                                      "Something inside has moved since the planning CT.",
                                      "A layer cracks or crumbles around the hole, beyond what the "
                                      "needle displaces. The score does not count this."});
  sheet.labelled("Stop rules of this case", answer(print.file(), "stop rules"));
  sheet.bullets(
      "When to break off, always",
      {"At resistance where the log shows none, or none where it shows a hard layer: halt, control "
       "scan, decide anew.",
       "At any dense object not on the plan.",
       "When a control scan shows the needle outside the planned track by more than the clearance.",
       "At dust, smell, insects or mould that the day’s protection was not chosen for.",
       "At the word of the conservator, the operator or the radiologist. No reason need be given.",
       "These last rules are common practice, with no published source."});
}

}  // namespace leastharm
