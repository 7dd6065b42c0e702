// The day's card: what hangs beside the scanner. Few words, large figures, room to tick with a
// gloved hand.
#include <algorithm>
#include <cmath>

#include "imaging/whole_file.h"
#include "planner/approvals.h"
#include "sheet.h"
#include "viewer/print.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kLeastBand = 92, kMostBand = 133, kRows = 73.5, kLine = 14,
                 kNumberColumn = 66;
const TextStyle kValue{18.5, 21, Weight::bold};
const TextStyle kName{7.8, 10.5, Weight::bold, false, kQuiet};
const TextStyle kUnder{8, 10.5};
const TextStyle kHalt{10.5, 13.5, Weight::semibold}, kObjection{9.5, 12.5, Weight::semibold};

struct Cell {
  std::string name, value, under;
};

std::string size_of(double mm_value) { return number(std::abs(mm_value), 1) + " mm"; }

/// Where the entry lies, in the terms of table and laser.
std::vector<Cell> place_of(const CardTrack& t) {
  return {{"TABLE POSITION, z", number(t.entry_lps_mm.z(), 1) + " mm",
           "slice " + std::to_string(t.slice)},
          {"LASER OFFSET ACROSS", size_of(t.right_mm),
           std::string("of x = 0, to the picture’s ") + (t.right_mm >= 0 ? "right" : "left")},
          {"LASER OFFSET UP, DOWN", size_of(t.down_mm),
           std::string("of y = 0, ") + (t.down_mm >= 0 ? "down" : "up") + " in the picture"}};
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

/// Which limits of the plan do not hold in this CT; empty where all do.
std::string objection_to(const CardTrack& t) {
  return t.ask_first.empty() ? "" : "ASK FIRST (see below): " + t.ask_first;
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

/// A band's text, broken into lines: never cut short.
struct Band {
  const CardTrack& track;
  TextBlock halts, objection;
  bool asks;

  Band(cairo_t* cairo, const CardTrack& t, double width)
      : track(t),
        halts(cairo, halts_of(t), kHalt, width),
        objection(cairo, objection_to(t), kObjection, width),
        asks(!t.ask_first.empty()) {}
  [[nodiscard]] double least_height() const {
    const double text = halts.height() + (asks ? objection.height() : 0);
    return std::max(kLeastBand, kRows + text + 5);
  }
};

void draw_band(Sheet& sheet, const Band& content, double height) {
  const Rect band = sheet.box(height);
  const double air = (height - content.least_height()) / 4;  // between the rows
  cairo_t* cairo = sheet.cairo();
  draw_rule(cairo, band.x, band.right(), band.y, 0.8);
  draw_number(cairo, content.track, band.x, band.y + 7 + air);
  const double x = band.x + kNumberColumn, width = band.width - kNumberColumn;
  draw_cells(cairo, place_of(content.track), x, width, band.y + 4 + air);
  draw_cells(cairo, way_of(content.track), x, width, band.y + 39 + 2 * air);
  const double y = band.y + kRows + 3 * air;
  content.halts.draw(x, y);
  if (content.asks) content.objection.draw(x, y + content.halts.height());
}

std::string worst_error(const Transfer& transfer) {
  if (transfer.same_ct) return "Plan made on this very CT: nothing was moved.";
  double worst = 0;
  for (const CardTrack& t : transfer.card.tracks) worst = std::max(worst, t.error_p95_mm);
  return "Transfer " + std::to_string(transfer.number) + " by " + transfer.registration.method +
         ": 95 of 100 errors at a tip below " + mm(worst) + "; placing the needle comes on top (" +
         mm(transfer.card.tracks.front().placement_mm) + ", one standard deviation an axis).";
}

/// What keeps the needle out of the room; empty where all have agreed.
std::string not_approved(const CaseFile& file) {
  std::vector<std::string> missing = missing_approvals(file);
  constexpr std::string_view kOf = "approval of ";
  for (std::string& m : missing) m.erase(0, kOf.size());
  return missing.empty() ? "" : "NOT APPROVED, DO NOT SAMPLE. " + capital(listed(missing)) + ".";
}

/// What stands above the tracks of each session.
struct Header {
  TextBlock alarm, holds;

  Header(cairo_t* cairo, const CaseFile& file, const Transfer& transfer, double width)
      : alarm(cairo, not_approved(file), {10, 13, Weight::bold, false, kInk, Align::left, 3}, width),
        holds(cairo,
              "Holds for the CT " + transfer.day_ct.sha256.substr(0, 8) + " alone, transferred " + date_words(transfer.at) +
                  ". Object or table moved since: transfer again. " + worst_error(transfer),
              {9.5, 12.5}, width) {}
  [[nodiscard]] double alarm_height(const CaseFile& file) const { return not_approved(file).empty() ? 0 : alarm.height() + 3; }
  [[nodiscard]] double height(const CaseFile& file) const { return 52 + holds.height() + alarm_height(file); }
};

void draw_header(Sheet& sheet, const CaseFile& file, const Header& header, std::size_t session, std::size_t sessions) {
  const Rect where = sheet.box(header.height(file));
  cairo_t* cairo = sheet.cairo();
  const std::string title = sessions == 1 ? "On the day"
                                          : "On the day, session " + std::to_string(session) +
                                                " of " + std::to_string(sessions);
  draw_line_of_text(cairo, title, style::title, where.x, where.y + 21);
  TextStyle object{12, 14, Weight::bold};
  object.most_lines = 1;
  TextBlock(cairo, file.object_id, object, where.width).draw(where.x, where.y + 28);
  if (header.alarm_height(file) > 0) header.alarm.draw(where.x, where.y + 45.5);
  header.holds.draw(where.x, where.y + 45.5 + header.alarm_height(file));
}

std::string rules_of(const CaseFile& file) {
  std::string rules =
      "In this order: cleanest first. One unused needle a track. Weigh, label and close each core before the next needle "
      "is opened. " +
      (is_answered(file, "stop rules") ? answer(file, "stop rules")
                                       : std::string("Stop at unexpected resistance, at dust, or when anybody present says so."));
  if (const auto conditions = standing_conditions(file); !conditions.empty())
    rules += " Agreed on condition: " + listed(conditions) + ".";
  return rules;
}

std::string small_print(const Transfer& transfer) {
  const Vec3& middle = transfer.card.picture_middle_lps_mm;
  std::string text =
      "Planning aid only: licensed people and local rules decide. Nobody in the room during an exposure. Table position is the "
      "CT’s own z; offsets count from its x = 0 and y = 0 (the picture’s middle lies at x " +
      number(middle.x(), 1) + ", y " + number(middle.y(), 1) + " mm): check with a marker that the laser shows that point.";
  if (std::ranges::any_of(transfer.card.tracks, [](const CardTrack& t) { return !t.ask_first.empty(); }))
    text += " Ask first: a limit of the plan does not hold in this CT. Those who approved the plan say yes or no to that core; without "
            "them, leave it out.";
  return text;
}

/// What stands below the tracks, set from the page's foot upward.
struct Footer {
  TextBlock rules, small;

  Footer(cairo_t* cairo, const CaseFile& file, const Transfer& transfer, double width)
      : rules(cairo, rules_of(file), {10.5, kLine, Weight::semibold, false, kInk, Align::left, 6}, width),
        small(cairo, small_print(transfer), style::caption, width) {}
  [[nodiscard]] double height() const { return 14 + rules.height() + 5 + small.height(); }
};

void draw_footer(Sheet& sheet, const Footer& footer) {
  const Rect& area = sheet.area();
  const double y = area.bottom() - footer.height() + 7;
  draw_rule(sheet.cairo(), area.x, area.right(), y, 0.8);
  footer.rules.draw(area.x, y + 5);
  footer.small.draw(area.x, y + 10 + footer.rules.height());
}

/// Where each session ends: as few sessions as hold all tracks, with as nearly as many tracks each as fit.
std::vector<std::size_t> sessions_of(const std::vector<Band>& bands, double room) {
  const auto filled = [&](std::size_t most) {
    std::vector<std::size_t> ends;
    double used = 0;
    std::size_t count = 0;
    for (std::size_t n = 0; n < bands.size(); ++n) {
      if (count > 0 && (count == most || used + bands[n].least_height() > room)) ends.push_back(n), used = 0, count = 0;
      used += bands[n].least_height(), ++count;
    }
    ends.push_back(bands.size());
    return ends;
  };
  const std::size_t fewest = filled(bands.size()).size();
  for (std::size_t most = (bands.size() + fewest - 1) / fewest;; ++most)
    if (auto ends = filled(most); ends.size() == fewest) return ends;
}

std::string compose_card(const CaseFile& file, const Transfer& transfer, PageSize size,
                         PageNotes& notes) {
  Sheet sheet(size,
              {"Day’s card for " + file.object_id, "Plan " + transfer.plan, file.object_id,
               "Plan " + transfer.plan, transfer.at},
              notes);
  const double width = sheet.area().width;
  const Header header(sheet.cairo(), file, transfer, width);
  const Footer footer(sheet.cairo(), file, transfer, width);
  std::vector<Band> bands;
  for (const CardTrack& t : transfer.card.tracks) bands.emplace_back(sheet.cairo(), t, width - kNumberColumn);
  const double room = sheet.area().height - header.height(file) - footer.height();
  const std::vector<std::size_t> ends = sessions_of(bands, room);
  for (std::size_t session = 0, n = 0; session < ends.size(); ++session) {
    if (session > 0) sheet.new_page();
    draw_header(sheet, file, header, session + 1, ends.size());
    double used = 0;
    for (std::size_t b = n; b < ends[session]; ++b) used += bands[b].least_height();
    const double more = std::clamp((room - used) / static_cast<double>(ends[session] - n), 0.0, kMostBand - kLeastBand);
    for (; n < ends[session]; ++n) draw_band(sheet, bands[n], bands[n].least_height() + more);
    draw_footer(sheet, footer);
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
