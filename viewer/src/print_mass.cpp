#include <algorithm>
#include <cmath>
#include <numbers>

#include "figure_charts.h"
#include "plan_facts.h"
#include "planner/enough.h"
#include "print_sections.h"
#include "table.h"
#include "words.h"

namespace leastharm {
namespace {

double grains_in(double mass_mg, const Request& request) {
  const double grain_mm3 = std::numbers::pi / 6 * std::pow(request.largest_particle_mm, 3);
  return mass_mg / (gy_material(request.filling).rest_g_per_cm3 * grain_mm3);
}

/// By what HU became mass, and grain size became grains.
std::string weighed_as(const Request& request) {
  const std::string grains = number(gy_material(request.filling).rest_g_per_cm3, 2) + " g/cm³";
  if (request.filling != Filling::not_stated)
    return "As " + std::string(name_of(request.filling)) + ", as the request states; its grains as " + grains + ".";
  return "What the packing consists of is not stated. What reads as loose as plant fibre is weighed as such; what reads denser may "
         "be sand, mud or natron, and its interval covers all of them. Grains are counted as plant matter of " + grains + ".";
}

std::string verdict(double gy_sd) {
  return gy_sd > kMostErrorForProportion ? "presence only" : "a proportion";
}

std::vector<std::string> row_of(const std::string& name, double mass_mg, const Request& request) {
  const double grains = grains_in(mass_mg, request);
  const double gy = gy_relative_sd(gy_material(request.filling), request.largest_particle_mm / 10, mass_mg / 1000);
  return {name,
          number(mass_mg, 1),
          number(grains, grains < 100 ? 1 : 0),
          chance(chance_to_miss(0.1, grains)),
          chance(chance_to_miss(0.01, grains)),
          number(100 * gy, 0) + " %",
          verdict(gy)};
}

void print_bore(Sheet& sheet, const Print& print, const Request& request) {
  double bore = 1e9;
  for (const TrackAssessment& t : print.tracks())
    if (t.track.request == request.id) bore = std::min(bore, t.track.needle.bore_mm);
  if (bore > 1e8) return;
  const double ratio = bore / request.largest_particle_mm;
  sheet.labelled("Bore against grain",
                 "The narrowest bore is " + mm(bore, 2) + ", " + number(ratio, 1) +
                     " times the largest particle of " + mm(request.largest_particle_mm) + ". " +
                     (bore_is_wide_enough(bore, request.largest_particle_mm) ? "At three times or more, grains of all sizes can enter."
                                 : "Below three times, large flakes are under-represented, and a "
                                   "grain wider than the bore is shut out or crushed."));
}

void print_replicates(Sheet& sheet, double least_mg, const Request& request) {
  const int cores = replicates_for_fifth(gy_relative_sd(gy_material(request.filling), request.largest_particle_mm / 10, least_mg / 1000));
  if (cores == 0) return;
  sheet.labelled("Cores for a proportion",
                 "To tell the mean of a constituent at one tenth within 20 % (95 %) takes at least " + std::to_string(cores) +
                     " cores like the smallest here, by the sampling error alone; this plan takes " + std::to_string(request.replicates) +
                     ". A count reckoned so meets its aim in little more than half of all cases.");
}

void print_curves(const Print& print, const Request& request, double pooled_mg) {
  double least = pooled_mg;
  int cores = 0;
  for (const TrackAssessment& t : print.tracks())
    if (t.track.request == request.id && t.core.mass_mg > 0) {
      least = std::min(least, t.core.mass_mg);
      ++cores;
    }
  std::vector<MissCurve> curves{{"smallest core", grains_in(least, request)}};
  if (cores > 1)
    curves.push_back({"all pooled", grains_in(pooled_mg, request)});
  const Rect where = print.sheet.box(119);
  if (!print.draft) draw_miss_curves(print.sheet.cairo(), where, curves);
  print.sheet.caption(
      "Chance that a constituent shows up in no grain at all, against how common it is. Rare "
      "things are missed even where the mass is enough.");
}

void print_request(const Print& print, const Request& request) {
  Sheet& sheet = print.sheet;
  sheet.heading("Request " + request.id + ": " + wanted_material(request), 120);
  if (!request.material || request.material == Material::packing) sheet.labelled("Weighed as", weighed_as(request));
  if (request.largest_particle_mm <= 0) {
    sheet.labelled("Largest particle",
                   "Not answered. Without the grain size nothing can be said about how well a core "
                   "stands for the whole; "
                   "claim presence only.");
    return;
  }
  Table table{{{"Track", 0.8},
               {"Mass, mg", 0.7, Align::right},
               {"Grains", 0.7, Align::right},
               {"Misses a thing in 1 of 10 grains", 1.2, Align::right},
               {"Misses a thing in 1 of 100 grains", 1.2, Align::right},
               {"Sampling error at a tenth", 1, Align::right},
               {"May claim at most", 1.1}},
              {},
              false};
  double pooled = 0, least = 0;
  for (std::size_t n = 0; n < print.tracks().size(); ++n) {
    const TrackAssessment& t = print.tracks()[n];
    if (t.track.request != request.id || t.core.mass_mg <= 0) continue;
    table.rows.push_back(
        row_of(full_name(print.tracks(), n), t.core.mass_mg, request));
    pooled += t.core.mass_mg;
    least = least > 0 ? std::min(least, t.core.mass_mg) : t.core.mass_mg;
  }
  if (table.rows.size() > 1) {
    table.rows.push_back(row_of("All pooled", pooled, request));
    table.last_is_total = true;
  }
  if (!table.rows.empty()) draw_table(sheet, table);
  print_bore(sheet, print, request);
  if (least > 0) print_replicates(sheet, least, request);
  if (!table.rows.empty()) print_curves(print, request, pooled);
}

}  // namespace

void print_mass(const Print& print) {
  Sheet& sheet = print.sheet;
  sheet.section(title::mass);
  const auto& requests = request_file_of(print.paper).requests;
  if (requests.empty()) sheet.paragraph("No request is recorded, so no need is known.");
  for (const Request& request : requests) print_request(print, request);
  sheet.labelled("How to read it",
                 "“Misses” is the chance that a constituent present in that share of the grains "
                 "shows up in none of the grains taken "
                 "(binomial). The sampling error is Gy’s fundamental error, as a relative standard "
                 "deviation, for a constituent that makes up a "
                 "tenth of the mass; it is a floor, since layers and clumps come on top. Over 30 % "
                 "only presence may be claimed. "
                 "Source: Gy’s formula as in Wills, Mineral Processing Technology, 1982.");
  sheet.labelled("Not a representative sample",
                 "Sampling by hand from material at rest does not give a representative sample, "
                 "and a report must say so "
                 "(ISO 18283). Absence in the cores does not prove absence in the body.");
}

}  // namespace leastharm
