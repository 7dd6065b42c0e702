#include "wandering_costs.h"

#include <algorithm>

namespace leastharm {

WanderingCosts::WanderingCosts(const Setting& setting, const LayerFlags& free)
    : s_(setting), outside_(free.size(), 0.0f), touching_(free.size(), 0.0f), cost_(free.size(), s_.cap_mm), spare_(free.size(), 0.0f),
      through_(s_.has_openings ? free.size() : 0, 0) {
  for (std::size_t n = 0; n < free.size(); ++n)
    if (free[n] == 0) outside_[n] = s_.cap_mm;
}

void WanderingCosts::enter(const std::vector<float>& dearer) {
  for (std::size_t n = 0; n < dearer.size(); ++n) {
    const bool opened = !through_.empty() && through_[n] != 0;   // an opening needs no hole
    if (dearer[n] != kNoEntry) cost_[n] = std::min(cost_[n], outside_[n] + (opened ? 0 : dearer[n]));
  }
}

void WanderingCosts::open(const LayerFlags& here) {
  for (std::size_t n = 0; n < here.size(); ++n) through_[n] |= here[n];
}

void WanderingCosts::advance(std::vector<float>& weights, bool any) {
  if (any) {
    least_along(0, weights);
    least_along(1, weights);
    constexpr float kTouch_mm = 0.02f;
    const auto step = static_cast<float>(s_.along_mm), most = static_cast<float>(s_.most_touch_mm);
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      cost_[n] = std::min(s_.cap_mm, cost_[n] + step * weights[n]);
      outside_[n] = std::min(s_.cap_mm, outside_[n] + step * weights[n]);
    }
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      touching_[n] = outside_[n] > kTouch_mm ? touching_[n] + step : 0;
      if (touching_[n] > most) outside_[n] = s_.cap_mm;
    }
  }
  drift();
}

/// Lets the sheaf's directions wander one point across, once they may have come so far.
void WanderingCosts::drift() {
  for (int axis = 0; axis < 2; ++axis) {
    const auto a = static_cast<std::size_t>(axis);
    const double slope = s_.slope[a];
    off_[a] += slope * s_.along_mm;
    if (off_[a] + slope * s_.along_mm <= s_.across_mm) continue;
    least_along(axis, cost_);
    least_along(axis, outside_);
    least_along(axis, touching_);
    if (!through_.empty()) spread_along(axis, through_);
    off_[a] = 0;
    ++drifts_[a];
  }
}

/// Least of each point and its neighbours along one axis across; beyond the border lies 0.
void WanderingCosts::least_along(int axis, std::vector<float>& values) {
  const auto [ni, nj] = s_.size;
  const auto row_of = [ni = ni](std::vector<float>& v, int j) { return v.data() + static_cast<std::ptrdiff_t>(j) * ni; };
  for (int j = 0; j < nj; ++j) {
    const float* here = row_of(values, j);
    float* out = row_of(spare_, j);
    if (axis == 0) {
      out[0] = out[ni - 1] = 0;
      for (int i = 1; i + 1 < ni; ++i) out[i] = std::min(here[i], std::min(here[i - 1], here[i + 1]));
    } else if (j == 0 || j == nj - 1) {
      std::fill_n(out, ni, 0.0f);
    } else {
      const float *before = row_of(values, j - 1), *after = row_of(values, j + 1);
      for (int i = 0; i < ni; ++i) out[i] = std::min(here[i], std::min(before[i], after[i]));
    }
  }
  std::swap(values, spare_);
}

void WanderingCosts::spread_along(int axis, LayerFlags& flags) const {
  const auto [ni, nj] = s_.size;
  const LayerFlags from = flags;
  const std::ptrdiff_t stride = axis == 0 ? 1 : ni;
  for (int j = 1; j + 1 < nj; ++j)
    for (int i = 1; i + 1 < ni; ++i) {
      const std::ptrdiff_t n = static_cast<std::ptrdiff_t>(j) * ni + i;
      flags[static_cast<std::size_t>(n)] = from[static_cast<std::size_t>(n)] | from[static_cast<std::size_t>(n - stride)] | from[static_cast<std::size_t>(n + stride)];
    }
}

std::vector<float> WanderingCosts::costs() {
  std::vector<float> costs = cost_;
  for (int axis = 0; axis < 2; ++axis)
    if (off_[static_cast<std::size_t>(axis)] > 0) least_along(axis, costs);
  return costs;
}

LayerFlags WanderingCosts::opened() const {
  LayerFlags opened = through_;
  for (int axis = 0; axis < 2 && !opened.empty(); ++axis)
    if (off_[static_cast<std::size_t>(axis)] > 0) spread_along(axis, opened);
  return opened;
}

bool WanderingCosts::is_spent(std::size_t first, std::size_t count) const {
  for (std::size_t n = first; n < first + count; ++n)
    if (cost_[n] < s_.cap_mm || outside_[n] < s_.cap_mm) return false;
  return true;
}

}  // namespace leastharm
