#include <algorithm>
#include <cmath>
#include <vector>

#include "imaging/intake.h"

namespace leastharm {
namespace {

constexpr int kLowest_hu = -1900, kHighest_hu = -600;
constexpr int kHalfWindow_hu = 25;    // holds much of a peak at any usual noise
constexpr int kHalfPeak_hu = 150;     // all of a peak, at noise of 60 HU
constexpr int kHighestPeak_hu = -850; // what is heavier is lung or loose fibre, whatever the scanner
constexpr std::size_t kEnoughVoxels = std::size_t{1} << 20;   // to read its peak well
constexpr double kLeastPart = 0.01;   // of all voxels: less than that is no room air

class Histogram {
 public:
  explicit Histogram(const Volume<std::int16_t>& hu) : counts_(static_cast<std::size_t>(kHighest_hu - kLowest_hu)) {
    const auto width = static_cast<std::size_t>(hu.grid.size[0]), rows = hu.values.size() / width;
    const std::size_t step = hu.values.size() / kEnoughVoxels | 1;   // odd, so that all parts of slices are met
    for (std::size_t row = 0; row < rows; row += step)
      for (std::size_t v = row * width; v < (row + 1) * width; ++v) {
        const int value = hu.values[v];
        if (value >= kLowest_hu && value < kHighest_hu) ++counts_[static_cast<std::size_t>(value - kLowest_hu)];
        ++all_;
      }
  }
  [[nodiscard]] double between(int from_hu, int to_hu) const {
    double sum = 0;
    for (int h = std::max(from_hu, kLowest_hu); h <= std::min(to_hu, kHighest_hu - 1); ++h) sum += at(h);
    return sum;
  }
  [[nodiscard]] double all() const { return static_cast<double>(all_); }
  [[nodiscard]] double around(int hu) const { return between(hu - kHalfWindow_hu, hu + kHalfWindow_hu); }
  /// The HU that parts a stretch into halves; whole HU are taken as spread over +-0.5.
  [[nodiscard]] double median(int from_hu, int to_hu) const {
    double left = between(from_hu, to_hu) / 2;
    for (int h = std::max(from_hu, kLowest_hu);; ++h) {
      if (left <= at(h)) return h - 0.5 + left / at(h);
      left -= at(h);
    }
  }

 private:
  [[nodiscard]] double at(int hu) const { return static_cast<double>(counts_[static_cast<std::size_t>(hu - kLowest_hu)]); }
  std::vector<std::size_t> counts_;
  std::size_t all_ = 0;
};

}  // namespace

double air_reading_hu(const Volume<std::int16_t>& hu) {
  const Histogram histogram(hu);
  const double least = kLeastPart * histogram.all();
  int peak = kLowest_hu;
  while (peak < kHighestPeak_hu && histogram.around(peak) < least) ++peak;
  if (peak >= kHighestPeak_hu) return std::nan("");
  for (int h = peak, end = peak + kHalfPeak_hu; h < end; ++h)
    if (histogram.around(h) > histogram.around(peak)) peak = h;
  if (peak >= kHighestPeak_hu) return std::nan("");
  // The middle, not the mean: where a scanner cuts air off at -1024, half of the noise has gone there.
  return histogram.median(peak - kHalfPeak_hu, peak + kHalfPeak_hu);
}

}  // namespace leastharm
