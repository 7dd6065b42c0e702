#include <array>

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

std::vector<std::string> step(const Print& print, const std::string& name, const char* best_in, const std::string& lost) {
  const Alternative* alternative = alternative_best_in(print.paper, best_in);
  if (!alternative) return {name, "–", "–", "–", "not worked out", lost};
  const Programme& programme = alternative->assessment.programme;
  return {name, std::to_string(alternative->assessment.tracks.size()), std::to_string(programme.holes),
          mg(programme.mass_mg), score_of(alternative->assessment), lost};
}

void print_steps(const Print& print) {
  Table table{{{"Choice", 1.5}, {"Cores", 0.5, Align::right}, {"Holes", 0.5, Align::right},
               {"Mass, median", 0.8, Align::right}, {"Damage score", 0.85, Align::right}, {"The conclusion that is lost", 2.6}}, {}, false};
  table.rows.push_back({"Taking nothing", "0", "0", "0.0 mg", "0.0", "All of it: the question stays as open as it is now."});
  table.rows.push_back({"Archived material", "0", "0", "0.0 mg", "0.0",
                        is_answered(print.file(), "archived sample") ? answer(print.file(), "archived sample")
                                                                     : "Whether there is any: not answered"});
  table.rows.push_back(step(print, "One core", "one core",
                            "Any comparison between places; whether one place stands for the whole; the spread between cores."));
  table.rows.push_back(step(print, "Half the mass", "half the mass",
                            "The assays that the missing mass would have fed, or their second run."));
  const Programme& programme = print.paper.assessment.programme;
  table.rows.push_back({"This plan", std::to_string(print.tracks().size()), std::to_string(programme.holes),
                        mg(programme.mass_mg), score_of(print.paper.assessment), "None of those asked for."});
  table.last_is_total = true;
  draw_table(print.sheet, table);
}

}  // namespace

void print_why(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::why);
  sheet.labelled("The question", answer(print.file(), "question"));
  sheet.heading("Before any needle: the milder ways");
  for (const Asked& asked : kLadder) sheet.labelled(asked.question, answer(print.file(), asked.topic));
  sheet.heading("What each choice costs, and what it gives up", 170);
  print_steps(print);
  sheet.paragraph("The damage score counts weighted mm³ of material displaced: 1 is as bad as displacing 1 mm³ of body "
                  "tissue. The weights are the team’s own. Taking nothing always scores 0, and is always a choice.",
                  style::caption);
}

}  // namespace leastharm
