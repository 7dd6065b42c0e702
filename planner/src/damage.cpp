#include "planner/damage.h"

namespace leastharm {

namespace {
void add(Damage& damage, std::string name, double value) {
  damage.score += value;
  damage.parts.emplace_back(std::move(name), value);
}
}  // namespace

Damage damage_of(const Weights& weights, const Harm& harm) {
  Damage damage;
  for (std::size_t m = 1; m < kMaterialCount; ++m) {
    const double value = weights.material[m] * harm.swept_mm3[m];
    if (value > 0) add(damage, std::string(kMaterialNames[m]), value);
  }
  add(damage, "hole", weights.hole_mm * harm.hole_mm2);
  for (const auto& [zone, area_mm2] : harm.zone_mm2)
    if (area_mm2 > 0) add(damage, "zone " + zone->name, zone->weight_mm * area_mm2);
  for (const auto& [name, mm3] : harm.near_mm3) {
    const double value = weights.protected_per_mm3 * mm3;
    if (value > 1e-9) add(damage, "near " + name, value);
  }
  return damage;
}

}  // namespace leastharm
