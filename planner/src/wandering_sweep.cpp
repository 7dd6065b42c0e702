#include "wandering_sweep.h"

#include <algorithm>

namespace leastharm {

void WanderingSweep::begin(int, const Flags& free) {
  outside_.assign(plane(), 0.0f);
  touching_.assign(plane(), 0.0f);
  cost_.assign(plane(), cap_);
  spare_.assign(plane(), 0.0f);
  through_.assign(ground_.has_openings() ? plane() : 0, 0);
  off_ = {0, 0};
  drifts_ = {0, 0};
  for (std::size_t n = 0; n < free.size(); ++n)
    if (free[n] == 0) outside_[n] = cap_;
}

void WanderingSweep::enter(int, const std::vector<float>& dearer) {
  for (std::size_t n = 0; n < dearer.size(); ++n) {
    const bool opened = !through_.empty() && through_[n] != 0;   // an opening needs no hole
    if (dearer[n] != kNoEntry) cost_[n] = std::min(cost_[n], outside_[n] + (opened ? 0 : dearer[n]));
  }
}

void WanderingSweep::open(int, const Flags& here) {
  for (std::size_t n = 0; n < here.size(); ++n) through_[n] |= here[n];
}

void WanderingSweep::advance(int, bool any) {
  if (any) {
    least_along(0, weights_);
    least_along(1, weights_);
    constexpr float kTouch_mm = 0.02f;
    const auto step = static_cast<float>(along_), most = static_cast<float>(most_touch_mm_);
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      cost_[n] = std::min(cap_, cost_[n] + step * weights_[n]);
      outside_[n] = std::min(cap_, outside_[n] + step * weights_[n]);
    }
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      touching_[n] = outside_[n] > kTouch_mm ? touching_[n] + step : 0;
      if (touching_[n] > most) outside_[n] = cap_;
    }
  }
  drift();
}

/// Lets the sheaf's directions wander one point across, once they may have come so far.
void WanderingSweep::drift() {
  for (int axis = 0; axis < 2; ++axis) {
    const auto a = static_cast<std::size_t>(axis);
    const double slope = task_.sheaf.slope()[a];
    off_[a] += slope * along_;
    if (off_[a] + slope * along_ <= across_) continue;
    least_along(axis, cost_);
    least_along(axis, outside_);
    least_along(axis, touching_);
    if (!through_.empty()) spread_along(axis, through_);
    off_[a] = 0;
    ++drifts_[a];
  }
}

/// Least of each point and its neighbours along one axis across; beyond the border lies 0.
void WanderingSweep::least_along(int axis, std::vector<float>& values) {
  const int ni = lattice_.size[0], nj = lattice_.size[1];
  const auto row_of = [&](std::vector<float>& v, int j) { return v.data() + static_cast<std::ptrdiff_t>(j) * ni; };
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

void WanderingSweep::spread_along(int axis, Flags& flags) const {
  const int ni = lattice_.size[0], nj = lattice_.size[1];
  const Flags from = flags;
  const std::ptrdiff_t stride = axis == 0 ? 1 : ni;
  for (int j = 1; j + 1 < nj; ++j)
    for (int i = 1; i + 1 < ni; ++i) {
      const std::ptrdiff_t n = static_cast<std::ptrdiff_t>(j) * ni + i;
      flags[static_cast<std::size_t>(n)] = from[static_cast<std::size_t>(n)] | from[static_cast<std::size_t>(n - stride)] | from[static_cast<std::size_t>(n + stride)];
    }
}

void WanderingSweep::tell(std::vector<float>& cost, Flags& opened) {
  cost = cost_;
  opened = through_;
  for (int axis = 0; axis < 2; ++axis)
    if (off_[static_cast<std::size_t>(axis)] > 0) {
      least_along(axis, cost);
      if (!opened.empty()) spread_along(axis, opened);
    }
}

bool WanderingSweep::waits(std::size_t first, std::size_t count) const {
  for (std::size_t n = first; n < first + count; ++n)
    if (outside_[n] < cost_[n]) return true;
  return false;
}

bool WanderingSweep::is_spent(std::size_t first, std::size_t count) const {
  for (std::size_t n = first; n < first + count; ++n)
    if (cost_[n] < cap_ || outside_[n] < cap_) return false;
  return true;
}

}  // namespace leastharm
