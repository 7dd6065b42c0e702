#include "pool_bound.h"

#include <algorithm>
#include <cmath>

namespace leastharm {
namespace {

constexpr double kQuantile99 = 2.3263;

/// What noise may add to the mass of a full core in 99 of 100 draws, mg.
double noise_mg(const Body& body, const Needle& needle) {
  constexpr double kLeastRatio = 0.9;   // no composition has a smaller R
  const double grain_mm3 = noise_grain_mm3(body.grid), bore_mm3 = needle.bore_volume_mm3();
  return kQuantile99 * body.scan.noise_hu / 1000 * std::sqrt(bore_mm3 * std::min(grain_mm3, bore_mm3)) / kLeastRatio;
}

/// By which factor a composition that is less well known than packing's usual one may raise a mass in 99 of 100 draws.
double composition_factor(Filling filling) {
  const double known = composition_of(Material::packing).relative_sd, sd = composition_of(filling).relative_sd;
  return std::exp(kQuantile99 * std::sqrt(std::max(0.0, sd * sd - known * known)));
}

}  // namespace

std::optional<OneOfThePool> one_of_the_pool(const Body& body, const RequestFile& file, const Request& request) {
  constexpr double kSpare = 0.07, kLeastChance = 0.1;
  const int n = request.replicates;
  double noise = 0;
  for (const Needle& needle : file.needles) noise = std::max(noise, noise_mg(body, needle));
  const double share_mg = (request.need_mg() / n - noise) / composition_factor(request.filling);
  const double chance = file.limits.p_enough_min / n - kSpare;
  if (!(share_mg > 0) || chance < kLeastChance) return std::nullopt;
  RequestFile alone = file;
  Request one = request;
  one.pooled = false;
  one.replicates = 1;
  one.assays.clear();
  one.retain_mg = share_mg;
  alone.requests = {one};
  alone.limits.p_enough_min = chance;
  OneOfThePool answer{std::make_unique<const RequestFile>(std::move(alone)), nullptr};
  answer.scene = std::make_unique<const SearchScene>(body, *answer.file);
  return answer;
}

}  // namespace leastharm
