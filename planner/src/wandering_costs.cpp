#include "wandering_costs.h"

#include <algorithm>

namespace leastharm {
namespace {

/// Least of each value and its neighbours, which lie `stride` before and after, and of what stands there already.
void least_of_three(const float* from, std::ptrdiff_t stride, float* to, int count) {
  const float *before = from - stride, *after = from + stride;
  for (int i = 0; i < count; ++i) to[i] = std::min(to[i], std::min(from[i], std::min(before[i], after[i])));
}

}  // namespace

LayerWindow LayerWindow::grown(int points, const LayerWindow& bounds) const {
  LayerWindow window;
  for (std::size_t a = 0; a < 2; ++a) {
    window.first[a] = std::max(bounds.first[a], first[a] - points);
    window.end[a] = std::min(bounds.end[a], end[a] + points);
  }
  return window;
}

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
  ways_.assign(4, {grazing_, std::vector<float>(free.size(), s_.cap_mm)});
  forget_rim();
  unspent_ = known();
}

/// Where something can be known, for one way at least.
LayerWindow WanderingCosts::known() const { return {rim_, {s_.size[0] - rim_[0], s_.size[1] - rim_[1]}}; }

/// On the rim of what is known only ways are that have not stepped aside: others may come from where nothing is known.
bool WanderingCosts::is_unspent(int i, int j) const {
  const bool on_rim = i == rim_[0] || j == rim_[1] || i + 1 + rim_[0] == s_.size[0] || j + 1 + rim_[1] == s_.size[1];
  const Way& least = on_rim ? ways_.front() : ways_.back();
  const std::size_t n = static_cast<std::size_t>(i) + static_cast<std::size_t>(s_.size[0]) * static_cast<std::size_t>(j);
  return least.cost[n] < s_.cap_mm || least.outside[n] < s_.cap_mm;
}

/// A way steps aside by one point a layer at most, so that what lies farther from all that is unspent stays spent.
void WanderingCosts::look_for_unspent() {
  const LayerWindow within = unspent_;
  LayerWindow found{within.end, within.first};
  for (int j = within.first[1]; j < within.end[1]; ++j) {
    int first = within.first[0], last = within.end[0] - 1;
    while (first <= last && !is_unspent(first, j)) ++first;
    if (first > last) continue;
    while (!is_unspent(last, j)) --last;
    found.first = {std::min(found.first[0], first), std::min(found.first[1], j)};
    found.end = {std::max(found.end[0], last + 1), j + 1};
  }
  unspent_ = found.empty() ? LayerWindow{} : found.grown(1, known());
}

/// Nothing is known of the outermost points of the rim: they cost nothing.
void WanderingCosts::forget_rim() {
  const auto [ni, nj] = s_.size;
  const auto [a, b] = rim_;
  const auto forget = [&](int i, int j) {
    const std::size_t n = static_cast<std::size_t>(i) + static_cast<std::size_t>(ni) * static_cast<std::size_t>(j);
    for (Way& way : ways_) way.outside[n] = way.cost[n] = 0;
    grazing_[n] = touching_[n] = 0;
  };
  for (int j = 0; j < nj; ++j)
    for (const int i : {a - 1, ni - a}) if (i >= 0 && i < ni) forget(i, j);
  for (int i = 0; i < ni; ++i)
    for (const int j : {b - 1, nj - b}) if (j >= 0 && j < nj) forget(i, j);
}

void WanderingCosts::enter(const std::vector<float>& dearer) {
  for (Way& way : ways_)
    for_each_row(unspent_, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n) {
        const bool opened = !through_.empty() && through_[n] != 0;   // an opening needs no hole
        if (dearer[n] != kNoEntry) way.cost[n] = std::min(way.cost[n], way.outside[n] + (opened ? 0 : dearer[n]));
      }
    });
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
    if (s_.spacing != Spacing::coarse) lower_between_points(weights);
    const auto step = static_cast<float>(s_.along_mm);
    for (Way& way : ways_)
      for (auto* costs : {&way.outside, &way.cost})
        for_each_row(unspent_, [&](std::size_t begin, std::size_t end) {
          float* const c = costs->data();
          for (std::size_t n = begin; n < end; ++n) c[n] = std::min(s_.cap_mm, c[n] + step * weights[n]);
        });
    least_around(weights);
    touch(weights);
  }
  for (const int axis : {0, 1}) {
    const auto a = static_cast<std::size_t>(axis);
    step_aside(axis);
    off_[a] += s_.slope[a] * s_.along_mm;
    if (off_[a] + s_.slope[a] * s_.along_mm > s_.across_mm) may_step_again(axis);
  }
}

/// By a share of the second difference. On a fine lattice where weights are less than at both points beside: a slot between two
/// edges under a disc may be deeper by a quarter. On a middling one wherever they bend upward (measured:
/// tests/planner/wandering_costs_test.cpp).
void WanderingCosts::lower_between_points(std::vector<float>& weights) {
  const bool fine = s_.spacing == Spacing::fine;
  const float share = fine ? 0.25f : 0.4f;
  const LayerWindow inner{{1, 1}, {s_.size[0] - 1, s_.size[1] - 1}};
  const auto ni = static_cast<std::size_t>(s_.size[0]);
  spare_ = weights;
  const auto depth = [fine](float before, float here, float after) {
    const float bend = before + after - 2 * here;
    return (fine ? std::min(before, after) >= here : bend > 0) ? bend : 0.0f;
  };
  const float* const w = spare_.data();
  for_each_row(unspent_.grown(1, inner), [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const float along = depth(w[n - 1], w[n], w[n + 1]), down = depth(w[n - ni], w[n], w[n + ni]);
      weights[n] = std::max(0.0f, weights[n] - share * (along + down));
    }
  });
}

/// Rules out needles that have touched for too long, by the least weights within a step.
void WanderingCosts::touch(const std::vector<float>& weights) {
  constexpr float kTouch_mm = 0.02f;
  const auto step = static_cast<float>(s_.along_mm), most = static_cast<float>(s_.most_touch_mm);
  for_each_row(unspent_, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      grazing_[n] = std::min(s_.cap_mm, grazing_[n] + step * weights[n]);
      touching_[n] = grazing_[n] > kTouch_mm ? touching_[n] + step : 0;
      if (touching_[n] > most) grazing_[n] = s_.cap_mm;
    }
  });
  for (Way& way : ways_)
    for_each_row(unspent_, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n) way.outside[n] = touching_[n] > most ? s_.cap_mm : way.outside[n];
    });
}

void WanderingCosts::step_aside(int axis) {
  const std::size_t stepped = std::size_t{1} << axis;
  for (std::size_t w = 0; w < ways_.size(); ++w) {
    if ((w & stepped) != 0) continue;
    least_into(axis, unspent_, ways_[w].outside, ways_[w | stepped].outside);
    least_into(axis, unspent_, ways_[w].cost, ways_[w | stepped].cost);
  }
}

void WanderingCosts::may_step_again(int axis) {
  const std::size_t stepped = std::size_t{1} << axis;
  for (std::size_t w = 0; w + stepped < ways_.size(); ++w)
    if ((w & stepped) == 0)
      for_each_row(unspent_, [&](std::size_t begin, std::size_t end) {
        const auto from = static_cast<std::ptrdiff_t>(begin), to = static_cast<std::ptrdiff_t>(end);
        const Way& by = ways_[w | stepped];
        std::copy(by.outside.begin() + from, by.outside.begin() + to, ways_[w].outside.begin() + from);
        std::copy(by.cost.begin() + from, by.cost.begin() + to, ways_[w].cost.begin() + from);
      });
  least_along(axis, unspent_, grazing_);
  least_along(axis, unspent_, touching_);
  if (!through_.empty()) spread(through_, s_.size, axis);
  off_[static_cast<std::size_t>(axis)] = 0;
  ++rim_[static_cast<std::size_t>(axis)];
  forget_rim();
  unspent_ = unspent_.grown(0, known());
}

/// On a coarse lattice of the needles in the cells around, too: between its points costs count as linear.
std::vector<float> WanderingCosts::costs() {
  std::vector<float> costs = ways_.back().cost;
  const LayerWindow inner{{1, 1}, {s_.size[0] - 1, s_.size[1] - 1}};
  for (int axis = 0; axis < 2 && s_.spacing == Spacing::coarse; ++axis) least_along(axis, inner, costs);
  return costs;
}

void WanderingCosts::least_into(int axis, const LayerWindow& window, const std::vector<float>& from, std::vector<float>& to) const {
  const std::ptrdiff_t stride = axis == 0 ? 1 : s_.size[0];
  for_each_row(window, [&](std::size_t begin, std::size_t end) {
    least_of_three(from.data() + begin, stride, to.data() + begin, static_cast<int>(end - begin));
  });
}

void WanderingCosts::least_along(int axis, const LayerWindow& window, std::vector<float>& values) {
  for_each_row(window.grown(1, layer()), [&](std::size_t begin, std::size_t end) {
    std::copy(values.begin() + static_cast<std::ptrdiff_t>(begin), values.begin() + static_cast<std::ptrdiff_t>(end), spare_.begin() + static_cast<std::ptrdiff_t>(begin));
  });
  least_into(axis, window, spare_, values);
}

/// The least within a step, in the window.
void WanderingCosts::least_around(std::vector<float>& weights) {
  LayerWindow rows = unspent_;
  rows.first[1] = std::max(0, rows.first[1] - 1);
  rows.end[1] = std::min(s_.size[1], rows.end[1] + 1);
  least_along(0, rows, weights);
  least_along(1, unspent_, weights);
}

bool WanderingCosts::is_spent(std::size_t first, std::size_t count) const {
  const Way& least = ways_.back();
  for (std::size_t n = first; n < first + count; ++n)
    if (least.cost[n] < s_.cap_mm || least.outside[n] < s_.cap_mm) return false;
  return true;
}

}  // namespace leastharm
