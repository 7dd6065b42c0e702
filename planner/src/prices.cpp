// What a plan stands beside: nothing, archived material, one core, half the mass.
#include <algorithm>

#include "alternatives.h"
#include "planner/enough.h"
#include "planner/text.h"

namespace leastharm {
namespace {

Price price_of(const Pool& pool, LesserChoice choice, const std::vector<Assessed>& candidates) {
  Price price{choice, false, {}, ""};
  const RequestFile file = request_at(pool.scene.file(), choice);
  std::vector<Candidate> admissible;
  for (const Assessed& a : candidates)
    if (a.assessment.admissible) admissible.push_back(a.candidate);
  const Choice chosen = choose(pool.scene, admissible, file.requests);
  if (!chosen.feasible) return price;
  std::vector<Track> tracks;
  for (const std::size_t c : chosen.chosen) {
    tracks.push_back(admissible[c].track);
    tracks.back().id = std::to_string(tracks.size());
  }
  price.found = true;
  price.assessment = Assessor(pool.scene.body(), file).assess(tracks);
  return price;
}

/// Assays from harmless to consuming, as far as the mass goes.
std::vector<std::string> assays_without(const Request& request, double mass_mg) {
  std::vector<Assay> assays = request.assays;
  std::ranges::stable_sort(assays, {}, &Assay::uses_mg);
  std::vector<std::string> lost;
  for (const Assay& assay : assays) {
    mass_mg -= assay.uses_mg;
    if (assay.uses_mg > 0 && mass_mg < 0) lost.push_back(assay.name + " (" + brief(assay.uses_mg) + " mg)");
  }
  if (mass_mg >= 0 && mass_mg < request.retain_mg) lost.push_back("part of what was to stay in the archive");
  return lost;
}

std::string lost_with_half(const Request& request) {
  const double half = request.need_mg() / 2;
  std::string text = "Request " + request.id + ": " + brief(half) + " mg in place of " + brief(request.need_mg()) + " mg";
  const std::vector<std::string> lost = assays_without(request, half);
  text += lost.empty() ? "; the assays still find their mass, with nothing to spare" : "; no longer enough for " + joined(lost);
  if (request.largest_particle_mm > 0) {
    const auto error = [&](double mg) { return fixed(100 * gy_relative_sd(gy_material(request.filling), request.largest_particle_mm / 10, mg / 1000), 0); };
    text += "; the least sampling error of a constituent at one tenth grows from " + error(2 * half) + " % to " + error(half) + " %";
  }
  return text + ".";
}

std::string lost_with_one(const Request& request) {
  if (request.replicates == 1) return "Request " + request.id + ": nothing, it asks for one core.";
  std::string text = "Request " + request.id + ": the spread between places (" + std::to_string(request.replicates) +
                     " cores show it, one shows none), and so whether one place stands for the whole";
  if (request.sides == Sides::both) text += "; the comparison of left and right";
  if (request.pooled)
    text += "; " + brief(request.need_mg()) + " mg together, of which one core brings about " +
            brief(request.need_mg() / request.replicates) + " mg";
  return text + ".";
}

}  // namespace

std::string_view name_of(LesserChoice choice) {
  switch (choice) {
    case LesserChoice::nothing: return "nothing";
    case LesserChoice::archived_material: return "archived material";
    case LesserChoice::one_core: return "one core";
    case LesserChoice::half_the_mass: return "half the mass";
  }
  return "";
}

RequestFile request_at(const RequestFile& file, LesserChoice choice) {
  RequestFile changed = file;
  for (Request& request : changed.requests) {
    double factor = 1;
    if (choice == LesserChoice::one_core) {
      if (request.pooled) factor = 1.0 / request.replicates;
      request.pooled = false;
      request.replicates = 1;
    }
    if (choice == LesserChoice::half_the_mass) factor = 0.5;
    for (Assay& assay : request.assays) assay.uses_mg *= factor;
    request.retain_mg *= factor;
  }
  return changed;
}

std::string conclusion_lost(const RequestFile& file, LesserChoice choice) {
  if (choice == LesserChoice::nothing) return "All of it: the question stays as open as it is now.";
  if (choice == LesserChoice::archived_material)
    return "None, if archived material exists that answers the question; all of it, if there is none.";
  std::string text;
  for (const Request& request : file.requests)
    text += std::string(text.empty() ? "" : " ") + (choice == LesserChoice::one_core ? lost_with_one(request) : lost_with_half(request));
  return text;
}

std::vector<Price> find_prices(const Pool& pool, const Assessment& plan, const std::vector<Assessed>& half) {
  const RequestFile& file = pool.scene.file();
  const bool one_each = std::ranges::all_of(file.requests, [](const Request& r) { return r.replicates == 1; });
  std::vector<Price> prices{{LesserChoice::nothing, true, {}, ""}, {LesserChoice::archived_material, true, {}, ""}};
  prices.push_back(one_each ? Price{LesserChoice::one_core, true, plan, ""} : price_of(pool, LesserChoice::one_core, pool.routes));
  prices.push_back(price_of(pool, LesserChoice::half_the_mass, half));
  for (Price& price : prices) price.lost = conclusion_lost(file, price.choice);
  return prices;
}

}  // namespace leastharm
