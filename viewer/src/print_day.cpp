#include <cmath>
#include <numbers>

#include "figure_angles.h"
#include "needle_log.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

/// Angle of the needle in the axial plane: 0 = straight from the scanner's front to its back,
/// positive toward its left.
double in_plane_deg(const Vec3& direction) {
  return std::atan2(direction.x(), direction.y()) * 180 / std::numbers::pi;
}

void print_angle_key(const Print& print) {
  const Rect where = print.sheet.box(kAngleKeyHeight);
  if (!print.draft) draw_angle_key(print.sheet.cairo(), where);
  print.sheet.skip(7);
}

}  // namespace

void print_day(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::day);
  sheet.notice(
      "These coordinates are those of the planning CT. They hold on the day only after transfer "
      "into the day’s CT, "
      "with the error of that transfer shown. Never set a needle by this page alone.");
  if (print.tracks().empty()) return sheet.paragraph("No track is planned yet.");
  Table table{{{"No.", 0.3, Align::right},
               {"Track", 0.7},
               {"Side", 0.75},
               {"Entry x, y, z, mm", 1.75, Align::right},
               {"Tip x, y, z, mm", 1.75, Align::right},
               {"Depth, mm", 0.6, Align::right},
               {"To the surface", 0.75, Align::right},
               {"In plane", 0.65, Align::right},
               {"Out of plane", 0.65, Align::right}},
              {},
              false};
  int order = 0;
  for (const TrackAssessment& t : print.tracks()) {
    const Vec3 direction = direction_of(t.track);
    table.rows.push_back({std::to_string(++order), t.track.id, t.side.empty() ? "–" : t.side,
                          point(t.track.entry_lps_mm), point(t.track.tip_lps_mm),
                          number(t.path_length_mm, 1), number(t.entry_angle_deg, 1) + "°",
                          number(in_plane_deg(direction), 1) + "°", number(t.tilt_deg, 1) + "°"});
  }
  draw_table(sheet, table);
  print_angle_key(print);
  sheet.note(
      "Coordinates: DICOM patient coordinates (x to the scanner’s left, y to its back, z to its "
      "head), frame of reference " +
      (print.file().ct.frame_of_reference_uid.empty() ? std::string("not recorded")
                                                      : print.file().ct.frame_of_reference_uid) +
      ". To the surface: 0° is square to it. In plane: 0° points straight from front to back, "
      "positive toward the scanner’s left. "
      "Out of plane: the needle’s angle out of the axial plane. The tip is the end of the bore.");
  sheet.bullets("Before and between",
                {"Order of sampling: as listed, cleanest first; one unused needle for each track.",
                 "Control scan at half the depth, and 10 mm before the needle passes a keep-out.",
                 "Set the stop on the needle to the depth above; a dead tip reaches further than "
                 "the bore’s end.",
                 "Weigh, label and close each core before the next needle is opened."});
}

}  // namespace leastharm
