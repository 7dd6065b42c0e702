#include "planner/enough.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "imaging/error.h"
#include "planner/core_yield.h"
#include "planner/counter_random.h"
#include "planner/text.h"

namespace leastharm {

namespace {

constexpr double kQuantile95 = 1.6448536269514722;
constexpr double kWantedChance = 0.9;
constexpr int kDraws = 4000;
constexpr int kMostCores = 1000;

/// What `enough` reckons with.
struct Question {
  Needle needle;
  double density_lo, density_hi, need_mg, grain_mm;
  Filling filling;
  std::uint64_t seed;
};

/// Distribution function of Student's t by Simpson's rule on its density; n - 1 degrees of freedom are few and whole.
double t_cdf(double t, int freedom) {
  constexpr int kSteps = 2000;
  const double v = freedom;
  const double scale = std::exp(std::lgamma((v + 1) / 2) - std::lgamma(v / 2)) / std::sqrt(v * std::numbers::pi);
  const auto density = [&](double x) { return scale * std::pow(1 + x * x / v, -(v + 1) / 2); };
  double sum = density(0) + density(t);
  for (int n = 1; n < kSteps; ++n) sum += density(t * n / kSteps) * (n % 2 == 1 ? 4 : 2);
  return 0.5 + sum * t / kSteps / 3;
}

double two_sided_t95(int freedom) {
  double low = 0, high = 1000;
  for (int n = 0; n < 60; ++n) {
    const double middle = (low + high) / 2;
    (t_cdf(middle, freedom) < 0.975 ? low : high) = middle;
  }
  return (low + high) / 2;
}

double density_of(const Question& q, std::uint64_t draw) {
  const double middle = (q.density_lo + q.density_hi) / 2, sd = (q.density_hi - q.density_lo) / (2 * kQuantile95);
  return std::max(0.0, middle + sd * random_normal(q.seed, stream_named("density"), draw));
}

/// One core's mass in one draw. Cores of one place share the density; recovery and bore are each core's own.
double core_mass_mg(const Question& q, std::uint64_t draw, int core) {
  const std::uint64_t own = stream_named("core " + std::to_string(core));
  const double half_width = q.needle.bore_tolerance_mm / q.needle.bore_mm;
  const double bore = 1 + half_width * (2 * random_uniform(q.seed, own ^ stream_named("bore"), draw) - 1);
  const double recovered = recovery_at(q.needle, random_normal(q.seed, own ^ stream_named("recovery"), draw));
  return density_of(q, draw) * q.needle.bore_volume_mm3() * recovered * bore * bore;
}

std::vector<double> masses_of_one(const Question& q) {
  std::vector<double> masses;
  for (std::uint64_t draw = 0; draw < kDraws; ++draw) masses.push_back(core_mass_mg(q, draw, 0));
  return masses;
}

/// Fewest cores whose sum reaches the need with the wanted chance; 0 where even a thousand do not.
int cores_for(const Question& q, double median_mg) {
  if (median_mg * kMostCores < q.need_mg) return 0;
  std::vector<double> sum(kDraws, 0.0);
  for (int cores = 1; cores <= kMostCores; ++cores) {
    for (std::uint64_t draw = 0; draw < kDraws; ++draw) sum[draw] += core_mass_mg(q, draw, cores - 1);
    if (chance_of_at_least(sum, q.need_mg) >= kWantedChance) return cores;
  }
  return 0;
}

std::string percent(double fraction) { return fixed(100 * fraction, 0) + " %"; }

/// A chance is never rounded to none or to certainty.
std::string chance_in_words(double chance) {
  return chance < 0.005 ? "less than 1 %" : chance >= 0.995 ? "more than 99 %" : percent(chance);
}

std::string conclusion_of(const Enough& e) {
  if (e.grains <= 0)
    return "Presence only: without the largest particle's size no error of a proportion can be given.";
  const std::string missed = "a constituent present in a tenth of the grains would be missed " +
                             chance_in_words(e.chance_to_miss_at_tenth) + " of the time";
  if (e.gy_relative_sd > kMostErrorForProportion)
    return "Presence only: the sampling error of a constituent at one tenth is " + percent(e.gy_relative_sd) +
           " (over 30 % no proportion may be claimed), and " + missed + "; not finding it proves nothing.";
  return "A proportion may be claimed, within a sampling error of at least " + percent(e.gy_relative_sd) +
         " for a constituent at one tenth; " + missed + ".";
}

void remark_on_filling(const Question& q, std::vector<std::string>& remarks) {
  const double grain = gy_material(q.filling).rest_g_per_cm3;
  if (q.density_hi > grain)
    remarks.push_back("A bulk density of " + brief(q.density_hi) + " g/cm3 is more than solid " +
                      (q.filling == Filling::not_stated ? "plant matter" : std::string(name_of(q.filling))) + " has (" + brief(grain) +
                      " g/cm3), by which grains are counted here: say with --filling what it is.");
}

void remark_on_grain(const Question& q, const Enough& e, std::vector<std::string>& remarks) {
  if (q.grain_mm <= 0) {
    remarks.emplace_back("The largest particle is not given: neither the sampling error nor the bore can be judged.");
  } else if (e.bore_to_grain < 1) {
    remarks.push_back("The largest particle (" + brief(q.grain_mm) + " mm) is wider than the bore (" +
                      brief(q.needle.bore_mm) + " mm): such grains are shut out or crushed.");
  } else if (!bore_is_wide_enough(q.needle.bore_mm, q.grain_mm)) {
    remarks.push_back("The bore is " + fixed(e.bore_to_grain, 1) + " times the largest particle; at least 3 times (" +
                      brief(3 * q.grain_mm) + " mm) is wanted: large flakes are under-represented.");
  }
}

/// The narrowest end-cut bore in the catalogue, or by measure, that would be enough at the same throw and recovery.
double bore_for(const Question& q, double sure_mg) { return q.needle.bore_mm * std::sqrt(q.need_mg / sure_mg); }

std::string price_of_bore(const Question& q, double bore_mm) {
  const double wall_mm = (q.needle.outer_mm - q.needle.bore_mm) / 2, outer = bore_mm + 2 * wall_mm;
  const double hole = std::numbers::pi / 4 * outer * outer;
  const double hole_now = std::numbers::pi / 4 * q.needle.outer_mm * q.needle.outer_mm;
  return "with the same wall a hole of " + fixed(hole) + " mm2 in place of " + fixed(hole_now) + " mm2, and as much more displaced on the way";
}

/// The ways to come to enough, each with what it costs. `sure_mg` is reached with the wanted chance by one core.
void remark_on_remedies(const Question& q, const Enough& e, double sure_mg, std::vector<std::string>& remarks) {
  if (e.p_enough >= kWantedChance) return;
  remarks.push_back("One core yields " + brief(q.need_mg) + " mg with a chance of " + chance_in_words(e.p_enough) +
                    " only; 90 % is wanted. Remedies, each with its price:");
  if (sure_mg > 0) {
    const double bore = bore_for(q, sure_mg), longer = q.needle.throw_mm * q.need_mg / sure_mg;
    remarks.push_back("Wider bore: " + fixed(bore, 1) + " mm; price: " + price_of_bore(q, bore) + ".");
    remarks.push_back("Longer throw: " + fixed(longer, 0) + " mm in place of " + brief(q.needle.throw_mm) +
                      " mm; price: the material must be " + fixed(longer - q.needle.throw_mm, 0) +
                      " mm deeper along the needle" +
                      (longer + q.needle.dead_tip_mm > q.needle.usable_mm ? ", more than this needle's usable length" : "") +
                      ".");
  }
  if (e.cores_needed > 1)
    remarks.push_back("More cores: " + std::to_string(e.cores_needed) + " pooled; price: " +
                      std::to_string(e.cores_needed) + " tracks, and as many holes unless they share one.");
  remarks.push_back("Less mass: " + fixed(sure_mg, 1) + " mg is had with a chance of 90 %; price: assays or archive "
                    "share that must shrink (1 to 5 mg is feasible for some resin analyses; from memory).");
}

void check(const Question& q) {
  check_needle(q.needle, "needle");
  if (!(q.density_lo > 0 && q.density_lo <= q.density_hi && q.density_hi <= 25))
    throw BadInput("The density is " + brief(q.density_lo) + " to " + brief(q.density_hi) +
                   " g/cm3; allowed: two numbers above 0 and up to 25, the smaller first.");
  if (!(q.need_mg > 0 && q.need_mg <= 1e6))
    throw BadInput("The need is " + brief(q.need_mg) + " mg; allowed: above 0 and up to 1000000.");
  if (!(q.grain_mm >= 0 && q.grain_mm <= 100))
    throw BadInput("The largest particle is " + brief(q.grain_mm) + " mm; allowed: from 0 (not known) to 100.");
}

}  // namespace

GyMaterial gy_material(Filling filling) {
  GyMaterial material;
  if (filling != Filling::not_stated) material.constituent_g_per_cm3 = material.rest_g_per_cm3 = density_range_of(filling).most;
  return material;
}

double gy_relative_sd(const GyMaterial& m, double top_size_cm, double sample_g, double lot_g) {
  const double a = m.fraction;
  const double composition = (1 - a) / a * ((1 - a) * m.constituent_g_per_cm3 + a * m.rest_g_per_cm3);
  const double spread = 1 / sample_g - (lot_g > 0 ? 1 / lot_g : 0);
  return std::sqrt(m.shape * m.size_range * composition * m.liberation * std::pow(top_size_cm, 3) *
                   std::max(0.0, spread));
}

double gy_mass_g(const GyMaterial& material, double top_size_cm, double relative_sd) {
  const double of_one_gram = gy_relative_sd(material, top_size_cm, 1);
  return of_one_gram * of_one_gram / (relative_sd * relative_sd);
}

double chance_to_miss(double fraction, double grains) { return std::pow(1 - fraction, grains); }

int replicates_for(double variance_percent2, double error_percent) {
  if (!(variance_percent2 >= 0 && error_percent > 0) || !std::isfinite(variance_percent2))
    throw BadInput("Replicates need a variance of at least 0 and an error above 0.");
  const double normal = std::pow(1.959963984540054 / error_percent, 2) * variance_percent2;
  if (normal > 1e6) throw BadInput("More than a million replicates would be needed; allow a larger error.");
  // The count that asks for no more than itself, to the nearest whole one; t falls with the count, so it is the least.
  for (int n = std::max(2, static_cast<int>(normal));; ++n) {
    const double t = two_sided_t95(n - 1);
    if (std::round(t * t * variance_percent2 / (error_percent * error_percent)) <= n) return n;
  }
}

int replicates_for_fifth(double gy_relative_sd) {
  constexpr double kError_percent = 20, kMost_sd = 50;
  return gy_relative_sd < kMost_sd ? replicates_for(std::pow(100 * gy_relative_sd, 2), kError_percent) : 0;
}

Enough enough(const Needle& needle, double density_lo, double density_hi, double need_mg, double grain_mm,
              Filling filling, std::uint64_t seed) {
  const Question q{needle, density_lo, density_hi, need_mg, grain_mm, filling, seed};
  check(q);
  const std::vector<double> masses = masses_of_one(q);
  Enough e;
  e.core_mm3 = needle.bore_volume_mm3();
  e.full_mg_lo = density_lo * e.core_mm3;
  e.full_mg_hi = density_hi * e.core_mm3;
  e.mass_mg = quantile_of(masses, 0.5);
  e.mass_mg_p05 = quantile_of(masses, 0.05);
  e.mass_mg_p95 = quantile_of(masses, 0.95);
  e.p_enough = chance_of_at_least(masses, need_mg);
  e.need_mg = need_mg;
  e.cores_needed = cores_for(q, e.mass_mg);
  if (grain_mm > 0) {
    const GyMaterial material = gy_material(filling);
    e.grains = e.mass_mg / (material.rest_g_per_cm3 * std::numbers::pi / 6 * std::pow(grain_mm, 3));
    e.bore_to_grain = needle.bore_mm / grain_mm;
    e.gy_relative_sd = gy_relative_sd(material, grain_mm / 10, e.mass_mg / 1000);
    e.replicates_for_20_percent = replicates_for_fifth(e.gy_relative_sd);
    e.chance_to_miss_at_tenth = chance_to_miss(material.fraction, e.grains);
  }
  e.conclusion = conclusion_of(e);
  remark_on_filling(q, e.remarks);
  remark_on_grain(q, e, e.remarks);
  if (e.replicates_for_20_percent > 0)
    e.remarks.push_back("A mean within 20 % (95 %) of a constituent at one tenth takes at least " +
                        std::to_string(e.replicates_for_20_percent) + " such cores by the sampling error alone; layers and clumps ask for more.");
  remark_on_remedies(q, e, quantile_of(masses, 1 - kWantedChance), e.remarks);
  e.remarks.emplace_back("A core from packing at rest is no representative sample of the whole filling (ISO 18283:2022 says "
                         "so of hand sampling from stationary material); the error given is the least there can be.");
  return e;
}

nlohmann::json to_json(const Enough& e) {
  // Without the largest particle's size nothing is known of these: null, never 0.
  const auto known = [&](double value) { return e.bore_to_grain > 0 ? nlohmann::json(value) : nlohmann::json(nullptr); };
  return {{"core_mm3", e.core_mm3},
          {"full_mg", {e.full_mg_lo, e.full_mg_hi}},
          {"mass_mg", e.mass_mg},
          {"mass_mg_p05", e.mass_mg_p05},
          {"mass_mg_p95", e.mass_mg_p95},
          {"p_enough", e.p_enough},
          {"need_mg", e.need_mg},
          {"cores_needed", e.cores_needed},
          {"grains", known(e.grains)},
          {"bore_to_grain", known(e.bore_to_grain)},
          {"gy_relative_sd", known(e.gy_relative_sd)},
          {"chance_to_miss_at_tenth", known(e.chance_to_miss_at_tenth)},
          {"replicates_for_20_percent", e.replicates_for_20_percent > 0 ? nlohmann::json(e.replicates_for_20_percent) : nlohmann::json(nullptr)},
          {"conclusion", e.conclusion},
          {"remarks", e.remarks}};
}

}  // namespace leastharm
