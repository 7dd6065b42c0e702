#pragma once

#include <cstdint>
#include <vector>

#include "imaging/grid.h"

namespace leastharm::phantom {

/// A well mixed 64-bit number for a counter (the splitmix64 step: Steele, Lea and Flood 2014).
[[nodiscard]] constexpr std::uint64_t mix(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ULL;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

/// A number for (seed, counter) of mean 0 and standard deviation 1: the sum of four uniform 16-bit numbers,
/// scaled. Its tails end at 3.46; sums of several of them are normal for every purpose here.
[[nodiscard]] inline float white(std::uint64_t seed, std::uint64_t counter) {
  const std::uint64_t bits = mix(seed ^ mix(counter));
  const auto sum = static_cast<float>((bits & 0xffff) + ((bits >> 16) & 0xffff) +
                                      ((bits >> 32) & 0xffff) + (bits >> 48));
  return (sum - 131070.0F) * (1.0F / 37837.2F);
}

/// Smooth random variation that fills all space: white numbers on a periodic lattice of pitch 1, interpolated
/// linearly. Mean near 0, standard deviation 1 on the lattice and about 0.55 over all space.
class NoiseTile {
 public:
  explicit NoiseTile(std::uint64_t seed);

  /// Coordinates may reach from -4096 to 4096.
  [[nodiscard]] double at(const Vec3& p) const {
    // A multiple of the period makes them positive, so that a cast rounds down.
    const double x = p.x() + 4096, y = p.y() + 4096, z = p.z() + 4096;
    const auto i = static_cast<unsigned>(static_cast<int>(x)), j = static_cast<unsigned>(static_cast<int>(y)),
               k = static_cast<unsigned>(static_cast<int>(z));
    const auto u = static_cast<float>(x - i), v = static_cast<float>(y - j), w = static_cast<float>(z - k);
    const unsigned i0 = i & kMask, j0 = j & kMask, k0 = k & kMask;
    const unsigned i1 = (i0 + 1) & kMask, j1 = (j0 + 1) & kMask, k1 = (k0 + 1) & kMask;
    const float a = along(i0, i1, j0, k0, u), b = along(i0, i1, j1, k0, u);
    const float c = along(i0, i1, j0, k1, u), d = along(i0, i1, j1, k1, u);
    const float low = a + v * (b - a), high = c + v * (d - c);
    return static_cast<double>(low + w * (high - low));
  }

 private:
  static constexpr unsigned kSize = 64, kMask = kSize - 1;
  [[nodiscard]] float node(unsigned i, unsigned j, unsigned k) const {
    return nodes_[i + kSize * (j + kSize * k)];
  }
  [[nodiscard]] float along(unsigned i0, unsigned i1, unsigned j, unsigned k, float u) const {
    const float a = node(i0, j, k);
    return a + u * (node(i1, j, k) - a);
  }

  std::vector<float> nodes_;
};

}  // namespace leastharm::phantom
