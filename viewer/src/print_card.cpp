// The day's card: what hangs beside the scanner. Few words, large figures, room to tick with a
// gloved hand.
#include <algorithm>
#include <cmath>

#include "imaging/whole_file.h"
#include "sheet.h"
#include "viewer/print.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kLeastBand = 105.5, kMostBand = 133, kHeader = 94, kFooter = 84,
                 kNumberColumn = 66;
const TextStyle kValue{18.5, 21, Weight::bold};
const TextStyle kName{7.8, 10.5, Weight::bold, false, kQuiet};
const TextStyle kUnder{8, 10.5};
const TextStyle kHalt{10.5, 13.5, Weight::semibold};

struct Cell {
  std::string name, value, under;
};

std::string size_of(double mm_value) { return number(std::abs(mm_value), 1) + " mm"; }

/// Where the entry lies, in the terms of table and laser.
std::vector<Cell> place_of(const CardTrack& t) {
  return {{"TABLE POSITION, z", number(t.entry_lps_mm.z(), 1) + " mm",
           "slice " + std::to_string(t.slice)},
          {"LASER OFFSET ACROSS", size_of(t.right_mm),
           t.right_mm >= 0 ? "right of the picture’s middle" : "left of the picture’s middle"},
          {"LASER OFFSET UP, DOWN", size_of(t.down_mm),
           t.down_mm >= 0 ? "below the picture’s middle" : "above the picture’s middle"}};
}

/// How the needle goes in.
std::vector<Cell> way_of(const CardTrack& t) {
  const auto degrees = [](double d) { return number(std::abs(d), 1) + "°"; };
  return {{"IN PLANE, FROM DOWN", degrees(t.in_plane_deg),
           t.in_plane_deg >= 0 ? "tip to the picture’s right" : "tip to the picture’s left"},
          {"OUT OF PLANE", degrees(t.out_of_plane_deg),
           t.out_of_plane_deg >= 0 ? "tip to higher slice numbers" : "tip to lower slice numbers"},
          {"DEPTH · STOP", number(t.depth_mm, 1) + " mm",
           number(t.stop_mm, 1) + " mm of needle stay outside"}};
}

std::string halts_of(const CardTrack& t) {
  std::string text = "Halt, leave the room, scan:  ";
  for (std::size_t n = 0; n < t.halts.size(); ++n) {
    const std::string& why = t.halts[n].why;
    text +=
        (n == 0 ? "" : "  ·  ") +
        (t.halts[n].depth_mm <= 0 ? "before entering" : number(t.halts[n].depth_mm, 1) + " mm") +
        " (" + why.substr(0, why.find(" (")) + ")";  // how far beside the needle stands in the plan
  }
  return text;
}

/// What the plan's limits have to say against a track in this CT; empty where nothing.
std::string objection_to(const CardTrack& t) {
  const auto refused = std::ranges::find(t.findings, Level::refused, &Finding::level);
  return refused == t.findings.end() ? "" : "ASK FIRST: " + refused->what;
}

void draw_cells(cairo_t* cairo, const std::vector<Cell>& cells, double x, double width, double y) {
  for (const Cell& cell : cells) {
    draw_line_of_text(cairo, cell.name, kName, x, y + 7);
    draw_line_of_text(cairo, cell.value, kValue, x, y + 23.5);
    draw_line_of_text(cairo, cell.under, kUnder, x, y + 32.5);
    x += width / static_cast<double>(cells.size());
  }
}

void draw_number(cairo_t* cairo, const CardTrack& t, double x, double y) {
  cairo_new_sub_path(cairo);
  cairo_arc(cairo, x + 19, y + 21, 18, 0, 6.2832);
  set_colour(cairo, kInk);
  cairo_fill(cairo);
  draw_line_of_text(cairo, std::to_string(t.order),
                    {19, 21, Weight::bold, false, kWhite, Align::centre}, x + 19, y + 27.5);
  const TextBlock id(cairo, t.id,
                     {t.id.size() > 6 ? 8.5 : 12, t.id.size() > 6 ? 10.5 : 14, Weight::bold, false,
                      kInk, Align::left, 3},
                     kNumberColumn - 8);
  id.draw(x, y + 42);
  TextStyle needle = kUnder;
  needle.most_lines = id.lines() > 1 ? 2 : 3;
  TextBlock(cairo, t.needle.name.empty() ? mm(t.needle.bore_mm) + " bore" : t.needle.name, needle,
            kNumberColumn - 8)
      .draw(x, y + 43 + id.height());
}

void draw_band(Sheet& sheet, const CardTrack& t, double height) {
  const Rect band = sheet.box(height);
  const double air = (height - kLeastBand) / 4;  // between the rows
  cairo_t* cairo = sheet.cairo();
  draw_rule(cairo, band.x, band.right(), band.y, 0.8);
  draw_number(cairo, t, band.x, band.y + 7 + air);
  const double x = band.x + kNumberColumn, width = band.width - kNumberColumn;
  draw_cells(cairo, place_of(t), x, width, band.y + 4 + air);
  draw_cells(cairo, way_of(t), x, width, band.y + 41 + 2 * air);
  const TextBlock halts(cairo, halts_of(t), kHalt, width);  // never cut short
  halts.draw(x, band.y + 77.5 + 3 * air);
  if (const std::string objection = objection_to(t); !objection.empty()) {
    TextStyle style = kHalt;
    style.size_pt = 9.5;
    style.most_lines = 1;
    TextBlock(cairo, objection, style, width).draw(x, band.y + 77.5 + 3 * air + halts.height());
  }
}

std::string worst_error(const Transfer& transfer) {
  if (transfer.same_ct) return "Plan made on this very CT: nothing was moved.";
  double worst = 0;
  for (const CardTrack& t : transfer.card.tracks) worst = std::max(worst, t.error_p95_mm);
  return "Transfer " + std::to_string(transfer.number) + " by " + transfer.registration.method +
         ": 95 of 100 errors at a tip below " + mm(worst) + "; placing the needle comes on top (" +
         mm(transfer.card.tracks.front().placement_mm) + ", one standard deviation an axis).";
}

void draw_header(Sheet& sheet, const CaseFile& file, const Transfer& transfer, int session,
                 int sessions) {
  const Rect where = sheet.box(kHeader);
  cairo_t* cairo = sheet.cairo();
  const std::string title = sessions == 1 ? "On the day"
                                          : "On the day, session " + std::to_string(session) +
                                                " of " + std::to_string(sessions);
  draw_line_of_text(cairo, title, style::title, where.x, where.y + 21);
  TextStyle object{12, 14, Weight::bold};
  object.most_lines = 1;
  TextBlock(cairo, file.object_id, object, where.width).draw(where.x, where.y + 28);
  const std::string ct = transfer.day_ct.sha256.substr(0, 8);
  TextBlock(cairo,
            "Holds for the CT " + ct + " alone, transferred " + date_words(transfer.at) +
                ". Object or table moved since: transfer again. " + worst_error(transfer),
            {10.5, 14}, where.width)
      .draw(where.x, where.y + 45.5);
}

void draw_footer(Sheet& sheet, const CaseFile& file) {
  const Rect& area = sheet.area();
  cairo_t* cairo = sheet.cairo();
  const double y = area.bottom() - kFooter + 7;
  draw_rule(cairo, area.x, area.right(), y, 0.8);
  TextStyle rules{10.5, 14, Weight::semibold, false, kInk, Align::left, 4};
  std::string stop =
      is_answered(file, "stop rules")
          ? answer(file, "stop rules")
          : "Stop at unexpected resistance, at dust, or when anybody present says so.";
  TextBlock(cairo,
            "In this order: cleanest first. One unused needle a track. Weigh, label and close each "
            "core before the next "
            "needle is opened. " +
                stop,
            rules, area.width)
      .draw(area.x, y + 5);
  TextBlock(
      cairo,
      "Planning aid only: licensed people and local rules decide. Nobody in the room during an "
      "exposure. Offsets are from "
      "the middle of the axial picture: check with a marker what point this scanner’s laser shows.",
      style::caption, area.width)
      .draw(area.x, y + 56);
}

std::string compose_card(const CaseFile& file, const Transfer& transfer, PageSize size,
                         PageNotes& notes) {
  Sheet sheet(size,
              {"Day’s card for " + file.object_id, "Plan " + transfer.plan, file.object_id,
               "Plan " + transfer.plan, transfer.at},
              notes);
  const auto& tracks = transfer.card.tracks;
  const double room = sheet.area().height - kHeader - kFooter;
  const auto pages_for = [&](std::size_t a_page) { return (tracks.size() + a_page - 1) / a_page; };
  const std::size_t sessions = pages_for(static_cast<std::size_t>(room / kLeastBand)),
                    a_page = pages_for(sessions);  // spread evenly
  const double band = std::min(kMostBand, room / static_cast<double>(a_page));
  for (std::size_t n = 0; n < tracks.size(); ++n) {
    if (n % a_page == 0) {
      if (n > 0) sheet.new_page();
      draw_header(sheet, file, transfer, static_cast<int>(n / a_page) + 1,
                  static_cast<int>(sessions));
    }
    draw_band(sheet, tracks[n], band);
    if ((n + 1) % a_page == 0 || n + 1 == tracks.size()) draw_footer(sheet, file);
  }
  std::string bytes = sheet.finish();
  notes = sheet.notes();
  return bytes;
}

}  // namespace

void print_day_card(const CaseFile& file, const Transfer& transfer,
                    const std::filesystem::path& output, PageSize size) {
  require_typeface();
  PageNotes notes;
  compose_card(file, transfer, size, notes);
  write_whole(output, compose_card(file, transfer, size, notes));
}

}  // namespace leastharm
