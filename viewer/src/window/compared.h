#pragma once

#include <optional>
#include <string>
#include <vector>

#include "planner/propose.h"

namespace leastharm {

/// A plan beside others: the search's answer, the answer with one track exchanged, or a lesser choice.
struct ComparedPlan {
  std::string name;                      ///< "A1", "one core", ...; empty for the answer itself
  std::string best_in, in_place_of;      ///< of an alternative
  std::optional<LesserChoice> lesser;
  bool found = true;                     ///< false: no tracks were found for it
  const Assessment* assessment = nullptr;   ///< belongs to the proposal; null where nothing is taken
  std::string lost;                      ///< the conclusion that a lesser choice gives up

  /// 0 where nothing is taken.
  [[nodiscard]] double score() const { return assessment != nullptr ? assessment->programme.score : 0; }
};

/// The answer first, then its alternatives, then the lesser choices: in the order that `Workbench::adopt` counts.
/// Valid as long as the proposal is. Empty where the search found nothing.
[[nodiscard]] std::vector<ComparedPlan> compared_plans(const Proposal& proposal);

/// The least of the requests' chances of enough; empty without tracks.
[[nodiscard]] std::optional<double> chance_of_enough(const ComparedPlan& plan);
/// Free distance to the nearest keep-out over all tracks, mm; empty without tracks or keep-outs.
[[nodiscard]] std::optional<double> nearest_keep_out_mm(const ComparedPlan& plan);
/// Parts of the score over all tracks, a shared hole counted with each of them.
[[nodiscard]] std::vector<std::pair<std::string, double>> damage_parts(const ComparedPlan& plan);
/// What a plan spares and costs against the first, part by part of the score, in words.
[[nodiscard]] std::string spared_and_cost(const ComparedPlan& first, const ComparedPlan& plan);
/// What is to be said of the plan of a column, in one or two sentences.
[[nodiscard]] std::string in_words(const std::vector<ComparedPlan>& plans, std::size_t column);

}  // namespace leastharm
