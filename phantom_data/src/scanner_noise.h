#pragma once

#include <cstdint>
#include <vector>

namespace leastharm::phantom {

/// In-plane noise of standard deviation 1 whose power spectrum rises from zero with the frequency and falls off
/// like a soft kernel's: f exp(-(f/f0)^2), peak at the lesser of 0.3 per mm and 0.2 per pixel.
/// (Shape of the spectrum: Riederer, Pelc and Chesler 1978, Phys Med Biol 23:446.)
class PlaneNoise {
 public:
  PlaneNoise(double spacing_i_mm, double spacing_j_mm, std::uint64_t seed);
  /// The noise of slice k, i fastest. Depends on seed, k and place alone.
  [[nodiscard]] std::vector<float> slice(int size_i, int size_j, int k) const;

 private:
  static constexpr int kReach = 4, kWidth = 2 * kReach + 1;
  std::vector<float> kernel_;   // kWidth x kWidth, sum of squares 1
  std::uint64_t seed_;
};

}  // namespace leastharm::phantom
