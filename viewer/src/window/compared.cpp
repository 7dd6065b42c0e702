#include "window/compared.h"

#include <algorithm>
#include <map>

#include "window/screen_words.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kSamePart = 0.05;   // differences below are not shown: no figure of the score has more digits

}  // namespace

std::vector<ComparedPlan> compared_plans(const Proposal& proposal) {
  if (!proposal.feasible) return {};
  std::vector<ComparedPlan> plans{{.assessment = &proposal.assessment}};
  for (const Alternative& a : proposal.alternatives)
    plans.push_back({.name = a.id, .best_in = a.best_in, .in_place_of = a.in_place_of, .assessment = &a.assessment});
  for (const Price& price : proposal.prices) {
    const bool takes = price.found && !price.assessment.tracks.empty();
    plans.push_back({.name = std::string(name_of(price.choice)),
                     .lesser = price.choice,
                     .found = price.found,
                     .assessment = takes ? &price.assessment : nullptr,
                     .lost = price.lost});
  }
  return plans;
}

std::optional<double> chance_of_enough(const ComparedPlan& plan) {
  if (plan.assessment == nullptr || plan.assessment->programme.p_enough.empty()) return std::nullopt;
  double least = 1;
  for (const auto& [request, p] : plan.assessment->programme.p_enough) least = std::min(least, p);
  return least;
}

std::optional<double> nearest_keep_out_mm(const ComparedPlan& plan) {
  std::optional<double> nearest;
  if (plan.assessment == nullptr) return nearest;
  for (const TrackAssessment& t : plan.assessment->tracks)
    for (const auto& [name, clearance] : t.clearance_mm)
      if (!nearest || clearance < *nearest) nearest = clearance;
  return nearest;
}

std::vector<std::pair<std::string, double>> damage_parts(const ComparedPlan& plan) {
  std::vector<std::pair<std::string, double>> parts;
  if (plan.assessment == nullptr) return parts;
  for (const TrackAssessment& t : plan.assessment->tracks)
    for (const auto& [part, value] : t.damage.parts) {
      const auto known = std::ranges::find(parts, part, &std::pair<std::string, double>::first);
      if (known == parts.end())
        parts.emplace_back(part, value);
      else
        known->second += value;
    }
  return parts;
}

std::string spared_and_cost(const ComparedPlan& first, const ComparedPlan& plan) {
  std::map<std::string, double> difference;
  for (const auto& [part, value] : damage_parts(plan)) difference[part] += value;
  for (const auto& [part, value] : damage_parts(first)) difference[part] -= value;
  std::string less, more;
  for (const auto& [part, value] : difference) {
    if (value < -kSamePart) less += (less.empty() ? "" : ", ") + part + " " + number(-value, 1);
    if (value > kSamePart) more += (more.empty() ? "" : ", ") + part + " " + number(value, 1);
  }
  if (less.empty() && more.empty()) return say("search.same");
  return (less.empty() ? "" : say("search.spares", less)) + (less.empty() || more.empty() ? "" : "; ") +
         (more.empty() ? "" : say("search.costs", more));
}

std::string in_words(const std::vector<ComparedPlan>& plans, std::size_t column) {
  const ComparedPlan& plan = plans[column];
  if (column == 0) return say("compare.first");
  const std::string spares = capital(spared_and_cost(plans.front(), plan)) + ".";
  if (plan.lesser) {
    const std::string lost = say("compare.lost", plan.lost);
    return plan.found ? lost + " " + spares : say("compare.notfound", plan.name) + " " + lost;
  }
  return say("compare.exchange", plan.name, plan.in_place_of, plan.best_in) + " " + spares;
}

}  // namespace leastharm
