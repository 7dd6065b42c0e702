#include <algorithm>
#include <array>

#include "figure_bars.h"
#include "plan_facts.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

struct Asked {
  const char* topic;
  const char* question;
};
/// From the mildest step to the plan; asked before any needle.
constexpr std::array<Asked, 6> kLadder{{
    {"why not less", "Why can nothing milder answer it?"},
    {"loose material", "Is there loose or detached material?"},
    {"archived sample", "Is there an archived earlier sample?"},
    {"existing opening", "Can an existing opening be used?"},
    {"smaller mass", "Would a smaller mass do?"},
    {"one aliquot for several assays", "Can one aliquot serve several assays?"},
}};

std::string score_of(const Assessment& assessment) { return number(assessment.programme.score, 1); }

std::vector<std::string> row_of(const std::string& name, const Assessment& assessment, const std::string& lost) {
  const Programme& programme = assessment.programme;
  return {name, std::to_string(assessment.tracks.size()), std::to_string(programme.holes), mg(programme.mass_mg),
          score_of(assessment), lost};
}

/// What is lost with archived material hangs on whether there is any.
std::string lost_with(const Print& print, LesserChoice choice) {
  if (choice == LesserChoice::archived_material && is_answered(print.file(), "archived sample"))
    return answer(print.file(), "archived sample");
  const Price* price = price_of(print.paper, choice);
  return price != nullptr ? price->lost : conclusion_lost(request_file_of(print.paper), choice);
}

std::vector<std::string> step(const Print& print, LesserChoice choice) {
  const std::string name = capital(choice == LesserChoice::nothing ? "taking nothing" : std::string(name_of(choice)));
  const bool takes_none = choice == LesserChoice::nothing || choice == LesserChoice::archived_material;
  if (takes_none) return row_of(name, {}, lost_with(print, choice));
  const Price* price = price_of(print.paper, choice);
  if (price == nullptr) return {name, "–", "–", "–", "not worked out", lost_with(print, choice)};
  if (!price->found) return {name, "–", "–", "–", "no track found", lost_with(print, choice)};
  return row_of(name, price->assessment, lost_with(print, choice));
}

void print_steps(const Print& print) {
  Table table{{{"Choice", 1.5},
               {"Cores", 0.5, Align::right},
               {"Holes", 0.5, Align::right},
               {"Mass, median", 0.8, Align::right},
               {"Damage score", 0.85, Align::right},
               {"The conclusion that is lost", 2.6}},
              {},
              false};
  for (const LesserChoice choice : kLesserChoices) table.rows.push_back(step(print, choice));
  table.rows.push_back(row_of("This plan", print.paper.assessment, "None of those asked for."));
  table.last_is_total = true;
  draw_table(print.sheet, table);
}

/// The parts of all tracks together. A hole or zone that tracks share counts once: what that saves
/// comes off the holes.
Bar bar_of(const std::string& name, const Assessment& assessment) {
  Bar bar{name, {}};
  for (const TrackAssessment& t : assessment.tracks)
    for (const auto& [part, value] : t.damage.parts) {
      const auto known = std::find_if(bar.parts.begin(), bar.parts.end(),
                                      [&](const auto& p) { return p.first == part; });
      if (known == bar.parts.end())
        bar.parts.emplace_back(part, value);
      else
        known->second += value;
    }
  const double saved = bar.total() - assessment.programme.score;
  for (auto& [part, value] : bar.parts)
    if (part == "hole") value = std::max(0.0, value - saved);
  return bar;
}

void print_step_bars(const Print& print) {
  std::vector<Bar> bars{{"Nothing", {}}};
  for (const Price& price : print.paper.prices)
    if (!price.assessment.tracks.empty())
      bars.push_back(bar_of(capital(std::string(name_of(price.choice))), price.assessment));
  bars.push_back(bar_of("This plan", print.paper.assessment));
  double top = 0;
  for (const Bar& bar : bars) top = std::max(top, bar.total());
  if (top > 0) print_bars_with_legend(print, bars, top);
  print.sheet.caption("Damage score of each choice, part by part, in weighted mm³.");
}

}  // namespace

void print_why(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::why);
  sheet.labelled("The question", answer(print.file(), "question"));
  sheet.heading("Before any needle: the milder ways");
  for (const Asked& asked : kLadder)
    sheet.labelled(asked.question, answer(print.file(), asked.topic));
  sheet.heading("What each choice costs, and what it gives up", 170);
  print_steps(print);
  print_step_bars(print);
  sheet.note(
      "The damage score counts weighted mm³ of material displaced: 1 is as bad as displacing 1 mm³ "
      "of body "
      "tissue. The weights are the team’s own. Taking nothing always scores 0, and is always a "
      "choice.");
}

}  // namespace leastharm
