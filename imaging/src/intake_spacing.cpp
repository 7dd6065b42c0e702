#include "intake_spacing.h"

#include <algorithm>
#include <cmath>

namespace leastharm {
namespace {

constexpr int kNeighbours = 5;
constexpr int kRun = 3;             // so many equal distances in a row are a spacing, not a gap
constexpr double kGap = 1.6;        // a gap is at least so many times the distances around it

/// How far places may lie off an even grid without any consequence: writers round to 0.1 mm.
double tolerance_mm(double step_mm) { return std::max(0.02 * step_mm, std::min(0.06, 0.1 * step_mm)); }

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<long>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

int run_length(std::span<const double> d, std::size_t at) {
  const auto same = [&](double other) { return std::abs(other - d[at]) <= 2 * tolerance_mm(d[at]); };
  std::size_t first = at, last = at;
  while (first > 0 && same(d[first - 1])) --first;
  while (last + 1 < d.size() && same(d[last + 1])) ++last;
  return static_cast<int>(last - first + 1);
}

bool is_gap(std::span<const double> d, std::size_t at) {
  if (run_length(d, at) >= kRun) return false;
  std::vector<double> around;
  for (int n = -kNeighbours; n <= kNeighbours; ++n) {
    const auto other = static_cast<long>(at) + n;
    if (n != 0 && other >= 0 && other < static_cast<long>(d.size())) around.push_back(d[static_cast<std::size_t>(other)]);
  }
  return !around.empty() && d[at] > kGap * median(around);
}

/// The least-squares line through (index, place); its worst residual.
double fit(std::span<const double> places, const std::vector<int>& index, double& step) {
  const auto n = static_cast<double>(places.size());
  double mean_x = 0, mean_y = 0, xx = 0, xy = 0;
  for (std::size_t i = 0; i < places.size(); ++i) mean_x += index[i] / n, mean_y += places[i] / n;
  for (std::size_t i = 0; i < places.size(); ++i) {
    xx += (index[i] - mean_x) * (index[i] - mean_x);
    xy += (index[i] - mean_x) * (places[i] - mean_y);
  }
  step = xy / xx;
  double worst = 0;
  for (std::size_t i = 0; i < places.size(); ++i)
    worst = std::max(worst, std::abs(places[i] - mean_y - step * (index[i] - mean_x)));
  return worst;
}

/// The least distance; never below a quarter of the usual one, so that two slices that nearly meet do not blow the
/// grid up.
double finest(const std::vector<double>& regular) {
  return std::max(*std::min_element(regular.begin(), regular.end()), median(regular) / 4);
}

}  // namespace

SliceSpacing find_spacing(std::span<const double> places_mm) {
  std::vector<double> d, regular;
  for (std::size_t n = 1; n < places_mm.size(); ++n) d.push_back(places_mm[n] - places_mm[n - 1]);
  std::vector<bool> gap(d.size());
  for (std::size_t n = 0; n < d.size(); ++n) {
    gap[n] = is_gap(d, n);
    if (!gap[n]) regular.push_back(d[n]);
  }
  const double usual = median(regular);
  SliceSpacing spacing;
  std::vector<int> index{0};
  for (std::size_t n = 0; n < d.size(); ++n) {
    constexpr double kFarthest = 1e6;   // steps: far beyond what anyone would fill
    const int steps = gap[n] ? std::max(2, static_cast<int>(std::min(std::round(d[n] / usual), kFarthest))) : 1;
    index.push_back(index.back() + steps);
    if (gap[n]) spacing.gaps.push_back({places_mm[n], places_mm[n + 1], steps - 1});
  }
  spacing.worst_mm = fit(places_mm, index, spacing.step_mm);
  spacing.even = spacing.worst_mm <= tolerance_mm(spacing.step_mm);
  spacing.count = index.back() + 1;
  if (spacing.even) return spacing;
  spacing.worst_mm = 0;
  spacing.step_mm = finest(regular);
  // Not beyond the last slice: what was not scanned is not made up.
  spacing.count = static_cast<int>(std::min((places_mm.back() - places_mm.front()) / spacing.step_mm + 0.01, 1e8)) + 1;
  return spacing;
}

}  // namespace leastharm
