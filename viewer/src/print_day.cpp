#include <algorithm>

#include "figure_angles.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

void print_angle_key(const Print& print) {
  const Rect where = print.sheet.box(kAngleKeyHeight);
  if (!print.draft) draw_angle_key(print.sheet.cairo(), where);
  print.sheet.skip(7);
}

/// In the day's CT where the plan was transferred, else in the planning CT.
DayCard card_of(const Print& print) {
  if (print.paper.transfer) return print.paper.transfer->card;
  return make_day_card(print.paper.volumes.body, print.paper.assessment, {},
                       request_file_of(print.paper).placement);
}

const Track& track_of(const Print& print, const std::string& id) {
  if (print.paper.transfer) {
    const auto& tracks = print.paper.transfer->tracks;
    return *std::ranges::find(tracks, id, &Track::id);
  }
  return std::ranges::find(print.tracks(), id, [](const TrackAssessment& t) { return t.track.id; })
      ->track;
}

void print_standing(const Print& print) {
  if (!print.paper.transfer)
    return print.sheet.notice(
        "These coordinates are those of the planning CT. They hold on the day only after transfer "
        "into the day’s CT, "
        "with the error of that transfer shown. Never set a needle by this page alone.");
  const Transfer& t = *print.paper.transfer;
  print.sheet.notice("These coordinates are those of the day’s CT " + t.day_ct.sha256.substr(0, 8) +
                     ", into which the plan was carried on " + date_words(t.at) + " by " +
                     t.registration.method +
                     ". They hold until object or table move. The day’s card shows the same.");
}

void print_entries(const Print& print, const DayCard& card) {
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
  for (const CardTrack& c : card.tracks) {
    const auto assessed = std::ranges::find(
        print.tracks(), c.id, [](const TrackAssessment& t) { return t.track.id; });
    table.rows.push_back({std::to_string(c.order), c.id,
                          assessed->side.empty() ? "–" : assessed->side, point(c.entry_lps_mm),
                          point(track_of(print, c.id).tip_lps_mm), number(c.depth_mm, 1),
                          number(assessed->entry_angle_deg, 1) + "°",
                          number(c.in_plane_deg, 1) + "°", number(c.out_of_plane_deg, 1) + "°"});
  }
  draw_table(print.sheet, table);
}

std::string halts_of(const CardTrack& c) {
  std::string text;
  for (const Halt& h : c.halts)
    text += (text.empty() ? "" : "; ") + (h.depth_mm <= 0 ? "before entering" : mm(h.depth_mm)) +
            ": " + h.why;
  return text;
}

void print_settings(const Print& print, const DayCard& card) {
  Table table{{{"No.", 0.3, Align::right},
               {"Track", 0.7},
               {"Slice", 0.5, Align::right},
               {"Right of x = 0, mm", 0.8, Align::right},
               {"Below y = 0, mm", 0.8, Align::right},
               {"Stays outside, mm", 0.8, Align::right},
               {"95 % error, mm", 0.7, Align::right},
               {"Halt, leave the room, scan", 3.2}},
              {},
              false};
  for (const CardTrack& c : card.tracks)
    table.rows.push_back({std::to_string(c.order), c.id, std::to_string(c.slice),
                          number(c.right_mm, 1), number(c.down_mm, 1), number(c.stop_mm, 1),
                          print.paper.transfer ? number(c.error_p95_mm, 1) : "–", halts_of(c)});
  draw_table(print.sheet, table);
}

}  // namespace

void print_day(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::day);
  print_standing(print);
  if (print.tracks().empty()) return sheet.paragraph("No track is planned yet.");
  const DayCard card = card_of(print);
  print_entries(print, card);
  print_angle_key(print);
  const CtReference& ct = print.paper.transfer ? print.paper.transfer->day_ct : print.file().ct;
  sheet.note(
      "Coordinates: DICOM patient coordinates (x to the scanner’s left, y to its back, z to its "
      "head), frame of reference " +
      (ct.frame_of_reference_uid.empty() ? std::string("not recorded")
                                         : ct.frame_of_reference_uid) +
      ". To the surface: 0° is square to it. In plane: 0° points straight down the axial picture, "
      "positive toward its right. "
      "Out of plane: the needle’s angle out of the axial picture, positive toward higher slice "
      "numbers. The tip is the end of the bore.");
  print_settings(print, card);
  sheet.note(
      "Offsets of the entry run as the axial picture does, from x = 0 and y = 0 of the CT’s own coordinates (the picture’s "
      "middle lies at x " +
      number(card.picture_middle_lps_mm.x(), 1) + ", y " + number(card.picture_middle_lps_mm.y(), 1) +
      " mm): check with a marker that the scanner’s laser shows that point. Stays outside: the needle’s usable length less depth and "
      "dead tip. 95 % error: expected at the tip from the transfer; placing the needle comes on "
      "top.");
  sheet.bullets("Before and between",
                {"Order of sampling: as listed, cleanest first; one unused needle for each track.",
                 "Set the stop on the needle to the depth above; a dead tip reaches further than "
                 "the bore’s end.",
                 "Weigh, label and close each core before the next needle is opened."});
}

}  // namespace leastharm
