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

std::vector<std::string> step(const Print& print, const std::string& name, const char* best_in,
                              const std::string& lost) {
  const Alternative* alternative = alternative_best_in(print.paper, best_in);
  if (!alternative) return {name, "–", "–", "–", "not worked out", lost};
  const Programme& programme = alternative->assessment.programme;
  return {name,
          std::to_string(alternative->assessment.tracks.size()),
          std::to_string(programme.holes),
          mg(programme.mass_mg),
          score_of(alternative->assessment),
          lost};
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
  table.rows.push_back({"Taking nothing", "0", "0", "0.0 mg", "0.0",
                        "All of it: the question stays as open as it is now."});
  table.rows.push_back({"Archived material", "0", "0", "0.0 mg", "0.0",
                        is_answered(print.file(), "archived sample")
                            ? answer(print.file(), "archived sample")
                            : "Whether there is any: not answered"});
  table.rows.push_back(step(print, "One core", "one core",
                            "Any comparison between places; whether one place stands for the "
                            "whole; the spread between cores."));
  table.rows.push_back(
      step(print, "Half the mass", "half the mass",
           "The assays that the missing mass would have fed, or their second run."));
  const Programme& programme = print.paper.assessment.programme;
  table.rows.push_back({"This plan", std::to_string(print.tracks().size()),
                        std::to_string(programme.holes), mg(programme.mass_mg),
                        score_of(print.paper.assessment), "None of those asked for."});
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
  for (const auto& [name, best_in] :
       {std::pair{"One core", "one core"}, std::pair{"Half the mass", "half the mass"}})
    if (const Alternative* alternative = alternative_best_in(print.paper, best_in))
      bars.push_back(bar_of(name, alternative->assessment));
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
