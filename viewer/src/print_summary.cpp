// Page one: what anybody must be able to read. Short sentences and plain words.
#include <algorithm>
#include <cmath>

#include "figure_route.h"
#include "plan_facts.h"
#include "planner/approvals.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

std::string see_page(const Print& print, const char* section) {
  const int page = print.sheet.page_of(section);
  return page == 0 ? "" : " See page " + std::to_string(page) + ".";
}

/// A dossier's answer, shortened for page one.
std::string in_brief(const Print& print, const std::string& topic, const char* section,
                     std::size_t most = 230) {
  bool cut = false;
  const std::string text = opening_of(answer(print.file(), topic), most, cut);
  return cut ? text + see_page(print, section) : text;
}

/// Who has agreed so far, in one line under the title.
std::string standing(const Print& print) {
  std::vector<std::string> yes, no;
  for (const std::string& role : approval_roles()) {
    const Approval* last = last_statement(print.file(), role);
    if (last == nullptr || !void_because(*last, print.file()).empty()) continue;
    (last->decision == "declined" ? no : yes).push_back(role + (last->condition.empty() ? "" : ", on a condition"));
  }
  std::string text = plan_name(print.paper) + ". ";
  if (yes.empty() && no.empty()) return text + "Not yet approved by anyone.";
  if (!yes.empty()) text += "Approved by " + listed(yes) + ". ";
  if (!no.empty()) text += "Declined by " + listed(no) + ".";
  return text;
}

std::string which_sides(const Print& print) {
  if (!print.file().frame) return "Which side is left is not confirmed yet.";
  int left = 0, right = 0;
  for (const TrackAssessment& track : print.tracks()) {
    left += track.side == "left";
    right += track.side == "right";
  }
  if (left + right == 0) return "";
  if (left > 0 && right > 0)
    return capital(counted(left, "core")) + " on the left side, " + count_word(right) + " on the right.";
  return left > 0 ? "All cores on the left side." : "All cores on the right side.";
}

/// How sure it is that no core falls short, in plain words.
std::string all_enough(const Programme& programme) {
  double least = 1;
  for (const auto& [request, p] : programme.p_enough) least = std::min(least, p);
  if (programme.p_enough.empty()) return "";
  const int in_100 = std::clamp(static_cast<int>(std::lround(100 * least)), 1, 99);
  return " All will hold that much about " + std::to_string(in_100) + " times in 100.";
}

std::string how_much(const Print& print) {
  if (print.tracks().empty()) return "Nothing yet. No needle path is planned.";
  const Programme& programme = print.paper.assessment.programme;
  const MassRange range = range_of_one_core(print.tracks());
  std::string text = capital(counted(static_cast<int>(print.tracks().size()), "core")) +
                     ", about " + number(programme.mass_mg, 0) + " mg in all (" +
                     number(programme.mass_mg_p05, 0) + " to " + number(programme.mass_mg_p95, 0) +
                     " mg, nine times in ten). One thousand mg make one gram. One core will hold " +
                     number(range.low_mg, 1) + " to " + number(range.high_mg, 1) + " mg.";
  double need = 0;
  for (const Request& request : request_file_of(print.paper).requests)
    if (!request.pooled) need = std::max(need, request.need_mg());
  if (need > 0) text += " The tests need " + number(need, 0) + " mg from each." + all_enough(programme);
  return text;
}

std::string which_holes(const Print& print) {
  HoleSize largest;
  int reused = 0;
  for (const TrackAssessment& track : print.tracks()) {
    const HoleSize hole = hole_size(track);
    if (hole.along_mm > largest.along_mm) largest = hole;
    reused += track.through_opening;
  }
  const int holes = print.paper.assessment.programme.holes;
  if (print.tracks().empty()) return "None.";
  std::string text = holes == 0 ? "No new hole. " : capital(counted(holes, "new hole")) + ". ";
  if (reused > 0) text += capital(counted(reused, "needle")) + (reused == 1 ? " goes" : " go") + " in through a gap that is there now. ";
  text += which_sides(print) + " The largest is " + mm(largest.across_mm) + " wide and " +
          mm(largest.along_mm) + " long. Each black spot shows one needle’s hole at true size.";
  return text;
}

std::string through_what(const Print& print) {
  std::vector<std::string> names;
  for (const Material m : materials_crossed(print.tracks())) names.push_back(spoken(m));
  double longest = 0, bone = 0;
  for (const TrackAssessment& track : print.tracks()) {
    longest = std::max(longest, track.path_length_mm);
    bone = std::max(bone, crossed_mm(track, Material::bone));
  }
  if (names.empty()) return "Nothing yet.";
  std::string text = "The needles pass through " + listed(names) + ". The longest way in is " +
                     mm(longest, 0) + ".";
  return text + (bone > 0 ? " Up to " + mm(bone) + " of bone is cut."
                          : " No bone is cut, if the needles go as planned.");
}

std::string who_may_stop(const Print& print) {
  return "Radiologist, conservator and committee must all say yes. Each of them may say no. If the "
         "plan is changed, a "
         "yes no longer counts. On the day: " +
         in_brief(print, "stop rules", title::certainty, 190);
}

std::string what_remains(const Print& print) {
  double used = 0, kept = 0;
  for (const Request& request : request_file_of(print.paper).requests) {
    kept = std::max(kept, request.retain_mg);
    used = std::max(used, request.need_mg() - request.retain_mg);
  }
  std::string text = "The tests use up " + number(used, 0) + " mg of a core";
  text += kept > 0 ? ", and " + number(kept, 0) + " mg is set aside to keep. " : ". ";
  return text + "The rest: " + in_brief(print, "remains", title::after, 150);
}

std::string is_it_least(const Print& print) {
  return certificate_sentence(print.paper) + " " + kLeastHarmMeans;
}

std::vector<std::string> choice(const std::string& name, const Assessment& assessment,
                                const std::string& lost) {
  return {name, std::to_string(assessment.programme.holes),
          number(assessment.programme.mass_mg, 0) + " mg", number(assessment.programme.score, 1),
          lost};
}

std::vector<std::string> lesser(const Print& print, const std::string& name, LesserChoice what,
                                const std::string& lost) {
  const Price* price = price_of(print.paper, what);
  if (price != nullptr && price->found) return choice(name, price->assessment, lost);
  return {name, "–", "–", "–", (price != nullptr ? "no way found. " : "not worked out. ") + lost};
}

void print_choices(const Print& print) {
  Table table{{{"What else was looked at", 1.25},
               {"Holes", 0.45, Align::right},
               {"Taken", 0.6, Align::right},
               {"Damage score", 0.85, Align::right},
               {"What it would mean", 2.9}},
              {},
              false};
  table.rows.push_back(
      choice("This plan", print.paper.assessment, "The question can be put to the tests."));
  table.rows.push_back(
      {"Take nothing", "0", "0 mg", "0.0", "No new hole. The question stays open."});
  bool cut = false;
  table.rows.push_back({"Use a stored sample", "0", "0 mg", "0.0",
                        opening_of(answer(print.file(), "archived sample"), 90, cut)});
  table.rows.push_back(lesser(print, "Take half the mass", LesserChoice::half_the_mass,
                              "Fewer tests, or less sure ones."));
  table.rows.push_back(lesser(print, "Take one core", LesserChoice::one_core,
                              print.tracks().size() == 1 ? "That is this plan."
                                                         : "One place only. It may not stand for the rest."));
  draw_table(print.sheet, table);
}

/// A spot for each track's hole at true size, in a row.
void print_spots(const Print& print) {
  Sheet& sheet = print.sheet;
  double tallest = 0;
  for (const TrackAssessment& track : print.tracks())
    tallest = std::max(tallest, hole_size(track).across_mm * kPointsPerMm);
  double x = sheet.prose_x();
  const double y = sheet.y() + tallest / 2 + 1;
  for (const TrackAssessment& track : print.tracks()) {
    const double width = hole_size(track).along_mm * kPointsPerMm;
    if (x + width > sheet.area().right()) break;
    add_true_hole(sheet.cairo(), hole_size(track), x + width / 2, y);
    set_colour(sheet.cairo(), kInk);
    cairo_fill(sheet.cairo());
    x += width + 9;
  }
  sheet.skip(tallest + 8.75);
}

}  // namespace

void print_summary(const Print& print) {
  Sheet& sheet = print.sheet;
  TextStyle name = style::title;
  name.most_lines = 2;
  sheet.wide("Sampling plan for " + print.file().object_id, name);

  sheet.wide(standing(print), coloured(style::body, kQuiet));
  sheet.section(title::summary);
  TextStyle brief = style::body;
  brief.most_lines = 4;
  sheet.labelled("Why?", in_brief(print, "question", title::why), brief);
  sheet.labelled("How much?", how_much(print), brief);
  sheet.labelled("How many holes?", which_holes(print), brief);
  print_spots(print);
  sheet.labelled("Through what?", through_what(print), brief);
  print_choices(print);
  sheet.labelled("Is this least harm?", is_it_least(print), brief);
  sheet.labelled("What of the remains?", what_remains(print), brief);
  sheet.labelled("Who may stop it?", who_may_stop(print), brief);
  sheet.skip(3.5);
  const Rect where{sheet.area().x, sheet.y(), sheet.area().width, sheet.room()};
  if (!print.draft && where.height > 70)
    draw_body(sheet.cairo(), where, print.pictures, print.paper, false);
  sheet.new_page();
}

}  // namespace leastharm
