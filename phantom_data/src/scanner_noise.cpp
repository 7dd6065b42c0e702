#include "scanner_noise.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "noise.h"

namespace leastharm::phantom {

PlaneNoise::PlaneNoise(double spacing_i_mm, double spacing_j_mm, std::uint64_t seed)
    : kernel_(kWidth * kWidth), seed_(mix(seed ^ 0x6e6f697365ULL)) {
  const double peak = std::min(0.3, 0.2 / std::max(spacing_i_mm, spacing_j_mm));
  const double f0 = peak * std::numbers::sqrt2;
  constexpr int kFrequencies = 48;
  for (int a = -kFrequencies; a < kFrequencies; ++a)
    for (int b = -kFrequencies; b < kFrequencies; ++b) {
      const double u = (a + 0.5) / (2 * kFrequencies), v = (b + 0.5) / (2 * kFrequencies);
      const double f = std::hypot(u / spacing_i_mm, v / spacing_j_mm);
      const double gain = std::sqrt(f) * std::exp(-0.5 * (f / f0) * (f / f0));
      for (int j = 0; j < kWidth; ++j)
        for (int i = 0; i < kWidth; ++i)
          kernel_[i + kWidth * j] += static_cast<float>(
              gain * std::cos(2 * std::numbers::pi * (u * (i - kReach) + v * (j - kReach))));
    }
  double energy = 0;
  for (const float h : kernel_) energy += static_cast<double>(h) * h;
  for (float& h : kernel_) h = static_cast<float>(h / std::sqrt(energy));
}

std::vector<float> PlaneNoise::slice(int size_i, int size_j, int k) const {
  const int wide = size_i + 2 * kReach, high = size_j + 2 * kReach;
  std::vector<float> field(static_cast<std::size_t>(wide) * high);
  const std::uint64_t seed = mix(seed_ ^ mix(static_cast<std::uint64_t>(k)));
  for (std::size_t n = 0; n < field.size(); ++n) field[n] = white(seed, n);
  std::vector<float> out(static_cast<std::size_t>(size_i) * size_j);
  for (int j = 0; j < size_j; ++j)
    for (int dj = 0; dj < kWidth; ++dj)
      for (int di = 0; di < kWidth; ++di) {
        const float h = kernel_[di + kWidth * dj];
        const float* from = &field[di + static_cast<std::size_t>(wide) * (j + dj)];
        float* to = &out[static_cast<std::size_t>(size_i) * j];
        for (int i = 0; i < size_i; ++i) to[i] += h * from[i];
      }
  return out;
}

}  // namespace leastharm::phantom
