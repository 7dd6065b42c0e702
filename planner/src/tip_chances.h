#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

#include "search_scene.h"
#include "sheaf.h"

namespace leastharm {

/// Where tips (ends of the bore) are looked at, in cubes; in the scene's box, mm.
struct TipBox {
  Vec3 low{0, 0, 0};
  double cube_mm = 1;
  std::array<int, 3> cubes{1, 1, 1};

  [[nodiscard]] Vec3 size_mm() const { return cube_mm * Vec3(cubes[0], cubes[1], cubes[2]); }
  [[nodiscard]] std::size_t cube_count() const { return static_cast<std::size_t>(cubes[0] * cubes[1] * cubes[2]); }
  [[nodiscard]] Vec3 low_of(std::size_t cube) const;
  /// Calls visit(cube) for every cube within `room_mm` of a point.
  template <typename Visit>
  void for_each_near(const Vec3& p, double room_mm, const Visit& visit) const {
    std::array<int, 3> first, last;
    for (std::size_t a = 0; a < 3; ++a) {
      const double x = p[static_cast<Eigen::Index>(a)] - low[static_cast<Eigen::Index>(a)];
      first[a] = std::max(0, static_cast<int>(std::floor((x - room_mm) / cube_mm)));
      last[a] = std::min(cubes[a] - 1, static_cast<int>(std::floor((x + room_mm) / cube_mm)));
    }
    for (int k = first[2]; k <= last[2]; ++k)
      for (int j = first[1]; j <= last[1]; ++j)
        for (int i = first[0]; i <= last[0]; ++i) visit(static_cast<std::size_t>(i + cubes[0] * (j + cubes[1] * k)));
  }
};

/// How far the box's corners lie from the midline on one side of the object (+1 left, -1 right), mm. Between them the midline
/// may come nearer by kMidlineBend_mm.
struct OffMidline {
  double least = 0, most = 0;
};
inline constexpr double kMidlineBend_mm = 16;
[[nodiscard]] OffMidline off_midline(const SearchScene& scene, const TipBox& box, int side);

/// Points along three directions square to each other: those of a sheaf, its middle last.
struct Lattice {
  Vec3 origin{0, 0, 0};
  std::array<Vec3, 3> step{Vec3::UnitX(), Vec3::UnitY(), Vec3::UnitZ()};
  std::array<int, 3> size{0, 0, 0};

  [[nodiscard]] Vec3 at(int i, int j, int k) const { return origin + i * step[0] + j * step[1] + k * step[2]; }
  [[nodiscard]] std::size_t offset(int i, int j, int k) const {
    return static_cast<std::size_t>(i) + static_cast<std::size_t>(size[0]) *
           (static_cast<std::size_t>(j) + static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(k));
  }
  [[nodiscard]] std::size_t count() const { return offset(0, 0, size[2]); }
};

/// Points of a lattice that have, among themselves and their 26 neighbours, both values of at least `limit` and smaller
/// ones: 1, the others 0.
[[nodiscard]] std::vector<std::uint8_t> border_of(const std::array<int, 3>& size, const std::vector<float>& values, float limit);

/// At least the chance that a core taken along any direction of the sheaf holds enough, by its tip, on whichever side. Right
/// within a step of the box.
struct TipChances {
  Lattice lattice;
  std::vector<float> chance;
  bool any = false;           ///< whether the chance becomes enough anywhere in the box ...
  Vec3 low{0, 0, 0}, high{0, 0, 0};   ///< ... and between which lattice points (indices)

  /// Trilinear between the lattice's points, along its first axis: at `from`, and every `step_mm` on. 0 beyond the lattice.
  void at_row(const Vec3& from, double step_mm, std::span<float> out) const;
};

/// A placement error shifts a core; its own turn is left out. `least`: what counts as enough.
[[nodiscard]] TipChances tip_chances(const SearchScene& scene, const Ask& ask, const Sheaf& sheaf, const TipBox& box, double step_mm, double least);

}  // namespace leastharm
