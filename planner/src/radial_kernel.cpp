#include "radial_kernel.h"

#include <cmath>
#include <map>
#include <numbers>

#include "workers.h"

namespace leastharm {
namespace {

constexpr int kShells = 48;
constexpr int kDirections = 1536;   // a quarter sphere octant by octant: mirrored, so the stencil is symmetric

/// Points of equal mass: shells at the quantiles of the kernel's radial mass, directions on a Fibonacci sphere octant.
template <typename Visit>
void for_each_mass_point(double radius_mm, const Visit& visit) {
  const double golden = (1 + std::sqrt(5.0)) / 2;
  for (int s = 0; s < kShells; ++s) {
    // With r = R sin(a) the mass within r is (2 / pi) (a - sin(a) cos(a)): solve it for the shell's middle.
    const double share = (s + 0.5) / kShells;
    double low = 0, high = std::numbers::pi / 2;
    for (int n = 0; n < 60; ++n) {
      const double a = (low + high) / 2;
      ((2 / std::numbers::pi) * (a - std::sin(a) * std::cos(a)) < share ? low : high) = a;
    }
    const double r = radius_mm * std::sin(low);
    for (int d = 0; d < kDirections; ++d) {
      const double z = (d + 0.5) / kDirections, turn = 0.5 * std::numbers::pi * std::fmod((d + s * 0.37) / golden, 1.0);
      const double w = std::sqrt(1 - z * z);
      visit(Vec3{r * w * std::cos(turn), r * w * std::sin(turn), r * z});
    }
  }
}

}  // namespace

Stencil radial_stencil(double radius_mm, const Vec3& spacing_mm, const Vec3& shift_mm) {
  std::map<std::array<int, 3>, double> mass;   // by k, j, i
  const auto cell = [&](double x, int a) { return static_cast<int>(std::floor((x + shift_mm[a]) / spacing_mm[a] + 0.5)); };
  for_each_mass_point(radius_mm, [&](const Vec3& p) {
    for (int mirror = 0; mirror < 8; ++mirror) {
      const double x = mirror & 1 ? -p.x() : p.x(), y = mirror & 2 ? -p.y() : p.y(), z = mirror & 4 ? -p.z() : p.z();
      mass[{cell(z, 2), cell(y, 1), cell(x, 0)}] += 1;
    }
  });
  Stencil stencil;
  const double total = 8.0 * kShells * kDirections;
  for (const auto& [at, count] : mass)
    stencil.taps.push_back({at[2], at[1], at[0], static_cast<float>(count / total)});
  return stencil;
}

Volume<float> averaged(const Volume<float>& field, const Stencil& stencil) {
  const auto [ni, nj, nk] = field.grid.size;
  Volume<float> out{field.grid, std::vector<float>(field.values.size(), 0.0f)};
  for_each_chunk(static_cast<std::size_t>(nk), 1, [&](std::size_t begin, std::size_t) {
    const int k = static_cast<int>(begin);
    for (int j = 0; j < nj; ++j) {
      float* row = out.values.data() + field.grid.offset(0, j, k);
      for (const Stencil::Tap& tap : stencil.taps) {
        const int sj = j + tap.j, sk = k + tap.k;
        if (sj < 0 || sj >= nj || sk < 0 || sk >= nk) continue;
        const int first = std::max(0, -tap.i), last = std::min(ni, ni - tap.i);
        const float* source = field.values.data() + field.grid.offset(0, sj, sk) + tap.i;
        for (int i = first; i < last; ++i) row[i] += tap.weight * source[i];
      }
    }
  });
  return out;
}

}  // namespace leastharm
