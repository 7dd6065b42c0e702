#include "enough_chance.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/counter_random.h"

namespace leastharm {
namespace {

constexpr int kNormals = 24, kBores = 4, kSteps = 2048;
constexpr double kMost = 8;   // the table reaches to this many times the need

/// Relative standard deviation of a nominal mass from composition, HU offset and noise: the least of the requested materials,
/// of a core that is full.
double relative_sd(const Body& body, const Region& region, const Needle& needle) {
  const MassModel model(body);
  PerMaterial<double> water{}, count{};
  for (std::size_t n = 0; n < body.materials.size(); ++n) {
    const auto m = static_cast<Material>(body.materials[n]);
    if (!region.wants(m) || body.hu[n] == kNoReadingHu) continue;
    water[body.materials[n]] += 1 + body.hu[n] / 1000.0;
    count[body.materials[n]] += 1;
  }
  const double core_mm3 = std::numbers::pi / 4 * needle.bore_mm * needle.bore_mm * needle.throw_mm;
  const double noise_hu = body.scan.noise_hu * std::sqrt(std::min(1.0, noise_grain_mm3(body.grid) / core_mm3));
  const double read_hu = std::hypot(body.scan.offset_sd_hu, noise_hu);
  double least = 1;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (count[m] > 0 && water[m] > 0)
      least = std::min(least, std::hypot(model.composition_sd(static_cast<Material>(m)),
                                         read_hu / 1000 / (water[m] / count[m])));
  return least < 1 ? least : 0;
}

}  // namespace

EnoughChance::EnoughChance(const Body& body, const Region& region, const Needle& needle, double need_mg) {
  const double middle = recovery_at(needle, 0), sd = recovery_at(needle, 1) - middle, spread = relative_sd(body, region, needle);
  const double bore = needle.bore_tolerance_mm / needle.bore_mm;
  const auto recovered_at_least = [&](double share) {
    if (share <= 0) return 1.0;
    if (share > 1) return 0.0;
    return sd > 0 ? normal_cdf((middle - share) / sd) : share <= middle ? 1.0 : 0.0;
  };
  table_.assign(kSteps + 1, 0.0f);
  per_step_ = need_mg > 0 ? static_cast<float>(kSteps / (kMost * need_mg)) : 1.0f;
  for (std::size_t n = 0; n <= kSteps; ++n) {
    const double share = need_mg > 0 ? middle / (kMost * static_cast<double>(n) / kSteps) : 0;   // infinite at 0
    double chance = 0;
    for (int a = 0; a < kNormals; ++a)
      for (int b = 0; b < kBores; ++b) {
        const double width = 1 + bore * (2 * (b + 0.5) / kBores - 1);
        chance += recovered_at_least(share * std::exp(spread * normal_quantile((a + 0.5) / kNormals)) / (width * width));
      }
    table_[n] = static_cast<float>(chance / (kNormals * kBores));
  }
}

}  // namespace leastharm
