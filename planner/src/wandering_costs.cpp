#include "wandering_costs.h"

#include <algorithm>

namespace leastharm {
namespace {

/// Least of each value of a row and its neighbours in it, and of what stands there already; beyond its ends lies 0.
void least_in_row(const float* from, float* to, int count) {
  to[0] = to[count - 1] = 0;
  for (int i = 1; i + 1 < count; ++i) to[i] = std::min(to[i], std::min(from[i], std::min(from[i - 1], from[i + 1])));
}

/// The same of three rows.
void least_of_rows(const float* before, const float* here, const float* after, float* to, int count) {
  for (int i = 0; i < count; ++i) to[i] = std::min(to[i], std::min(here[i], std::min(before[i], after[i])));
}

}  // namespace

void spread(LayerFlags& flags, const std::array<int, 2>& size, int axis) {
  const LayerFlags from = flags;
  const std::ptrdiff_t stride = axis == 0 ? 1 : size[0];
  for (int j = 0; j < size[1]; ++j)
    for (int i = 0; i < size[0]; ++i) {
      const auto n = static_cast<std::ptrdiff_t>(j) * size[0] + i;
      const int at = axis == 0 ? i : j;
      const bool beside = (at > 0 && from[static_cast<std::size_t>(n - stride)] != 0) ||
                          (at + 1 < size[static_cast<std::size_t>(axis)] && from[static_cast<std::size_t>(n + stride)] != 0);
      if (beside) flags[static_cast<std::size_t>(n)] = 1;
    }
}

WanderingCosts::WanderingCosts(const Setting& setting, const LayerFlags& free)
    : s_(setting), grazing_(free.size(), 0.0f), touching_(free.size(), 0.0f), spare_(free.size(), 0.0f), through_(s_.has_openings ? free.size() : 0, 0) {
  for (std::size_t n = 0; n < free.size(); ++n)
    if (free[n] == 0) grazing_[n] = s_.cap_mm;
  ways_.assign(s_.coarse ? 1 : 4, {grazing_, std::vector<float>(free.size(), s_.cap_mm)});
}

void WanderingCosts::enter(const std::vector<float>& dearer) {
  for (Way& way : ways_)
    for (std::size_t n = 0; n < dearer.size(); ++n) {
      const bool opened = !through_.empty() && through_[n] != 0;   // an opening needs no hole
      if (dearer[n] != kNoEntry) way.cost[n] = std::min(way.cost[n], way.outside[n] + (opened ? 0 : dearer[n]));
    }
}

/// A needle that is in an opening here may step aside later.
void WanderingCosts::open(const LayerFlags& here) {
  LayerFlags around = here;
  spread(around, s_.size, 0);
  spread(around, s_.size, 1);
  for (std::size_t n = 0; n < around.size(); ++n) through_[n] |= around[n];
}

void WanderingCosts::advance(std::vector<float>& weights, bool any) {
  if (any) {
    if (s_.coarse) {
      least_along(0, weights);
      least_along(1, weights);
    } else {
      lower_in_valleys(weights);
    }
    const auto step = static_cast<float>(s_.along_mm);
    for (Way& way : ways_)
      for (auto* costs : {&way.outside, &way.cost}) {
        float* const c = costs->data();
        for (std::size_t n = 0; n < weights.size(); ++n) c[n] = std::min(s_.cap_mm, c[n] + step * weights[n]);
      }
    if (!s_.coarse) {
      least_along(0, weights);
      least_along(1, weights);
    }
    touch(weights);
  }
  for (const int axis : {0, 1}) {
    const auto a = static_cast<std::size_t>(axis);
    if (!s_.coarse) step_aside(axis);
    off_[a] += s_.slope[a] * s_.along_mm;
    if (off_[a] + s_.slope[a] * s_.along_mm > s_.across_mm) may_step_again(axis);
  }
}

/// Where weights are least between two points, by a quarter of the second difference: what a slot between two edges under a
/// disc may lie below both of them (measured: tests/planner/wandering_costs_test.cpp).
void WanderingCosts::lower_in_valleys(std::vector<float>& weights) {
  constexpr float kShare = 0.25f;
  const auto [ni, nj] = s_.size;
  spare_ = weights;
  const auto depth = [](float before, float here, float after) {
    const float least = std::min(before, after) - here;
    return least >= 0 ? before + after - 2 * here : 0.0f;
  };
  for (int j = 1; j + 1 < nj; ++j) {
    const float* const here = spare_.data() + static_cast<std::ptrdiff_t>(j) * ni;
    float* const to = weights.data() + static_cast<std::ptrdiff_t>(j) * ni;
    for (int i = 1; i + 1 < ni; ++i) {
      const float along = depth(here[i - 1], here[i], here[i + 1]), down = depth(here[i - ni], here[i], here[i + ni]);
      to[i] = std::max(0.0f, to[i] - kShare * (along + down));
    }
  }
}

/// Rules out needles that have touched for too long, by the least weights within a step.
void WanderingCosts::touch(const std::vector<float>& weights) {
  constexpr float kTouch_mm = 0.02f;
  const auto step = static_cast<float>(s_.along_mm), most = static_cast<float>(s_.most_touch_mm);
  for (std::size_t n = 0; n < weights.size(); ++n) {
    grazing_[n] = std::min(s_.cap_mm, grazing_[n] + step * weights[n]);
    touching_[n] = grazing_[n] > kTouch_mm ? touching_[n] + step : 0;
    if (touching_[n] > most) grazing_[n] = s_.cap_mm;
  }
  for (Way& way : ways_)
    for (std::size_t n = 0; n < weights.size(); ++n) way.outside[n] = touching_[n] > most ? s_.cap_mm : way.outside[n];
}

void WanderingCosts::step_aside(int axis) {
  const std::size_t stepped = std::size_t{1} << axis;
  for (std::size_t w = 0; w < ways_.size(); ++w) {
    if ((w & stepped) != 0) continue;
    least_into(axis, ways_[w].outside, ways_[w | stepped].outside);
    least_into(axis, ways_[w].cost, ways_[w | stepped].cost);
  }
}

void WanderingCosts::may_step_again(int axis) {
  const std::size_t stepped = std::size_t{1} << axis;
  if (s_.coarse) {
    least_along(axis, ways_.front().outside);
    least_along(axis, ways_.front().cost);
  }
  for (std::size_t w = 0; w + stepped < ways_.size(); ++w)
    if ((w & stepped) == 0) ways_[w] = ways_[w | stepped];
  least_along(axis, grazing_);
  least_along(axis, touching_);
  if (!through_.empty()) spread(through_, s_.size, axis);
  off_[static_cast<std::size_t>(axis)] = 0;
  ++rim_[static_cast<std::size_t>(axis)];
}

std::vector<float> WanderingCosts::costs() {
  std::vector<float> costs = ways_.back().cost;
  for (int axis = 0; axis < 2 && s_.coarse; ++axis)
    if (off_[static_cast<std::size_t>(axis)] > 0) least_along(axis, costs);
  return costs;
}

void WanderingCosts::least_into(int axis, const std::vector<float>& from, std::vector<float>& to) const {
  const auto [ni, nj] = s_.size;
  const auto row = [ni = ni](auto& values, int j) { return values.data() + static_cast<std::ptrdiff_t>(j) * ni; };
  for (int j = 0; j < nj; ++j) {
    if (axis == 0) least_in_row(row(from, j), row(to, j), ni);
    else if (j == 0 || j == nj - 1) std::fill_n(row(to, j), ni, 0.0f);
    else least_of_rows(row(from, j - 1), row(from, j), row(from, j + 1), row(to, j), ni);
  }
}

void WanderingCosts::least_along(int axis, std::vector<float>& values) {
  spare_ = values;
  least_into(axis, spare_, values);
}

bool WanderingCosts::is_spent(std::size_t first, std::size_t count) const {
  const Way& least = ways_.back();
  for (std::size_t n = first; n < first + count; ++n)
    if (least.cost[n] < s_.cap_mm || least.outside[n] < s_.cap_mm) return false;
  return true;
}

}  // namespace leastharm
