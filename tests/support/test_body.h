#pragma once

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

#include "imaging/grid.h"
#include "imaging/material.h"
#include "imaging/registration.h"

namespace leastharm::test {

/// A small invented torso by formula of place alone, so that it can be scanned in any pose, on any grid, and the truth is
/// known exactly: wrapped, on a board, with a skull, a spine, ribs, one arm bone, packing on the floor of its cavity and
/// a bead of metal. Not the same left and right, nor head and feet.
struct TestBody {
  Vec3 inner_shift_mm{0, 0, 0};   ///< of bones, packing and bead against skin and wrapping
  double stretch = 1;             ///< another object: all lengths along z times this
  bool with_board = true;
  double packing_from_mm = 2;     ///< packing fills the cavity from here to its back (own y)
  double packing_hu = -720;

  [[nodiscard]] Material material_at(const Vec3& place) const {
    const Vec3 p(place.x(), place.y(), place.z() / stretch);
    const Vec3 in = p - inner_shift_mm;
    const auto ellipsoid = [](const Vec3& q, const Vec3& c, const Vec3& r) { return (q - c).cwiseQuotient(r).norm() < 1; };
    const auto rod = [](const Vec3& q, const Vec3& a, const Vec3& b, double r) {
      const double t = std::clamp((q - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0);
      return (q - a - t * (b - a)).norm() < r;
    };
    const bool wrapped = ellipsoid(p, {0, 0, 0}, {82, 58, 150}) || ellipsoid(p, {0, -4, 165}, {52, 56, 62});
    if (!wrapped) return Material::air;
    const bool skin = ellipsoid(p, {0, 0, 0}, {70, 46, 138}) || ellipsoid(p, {0, -4, 165}, {42, 46, 52});
    if (!skin) return Material::wrapping;
    if (ellipsoid(in, {22, -6, 10}, {3, 3, 3})) return Material::dense;
    if (rod(in, {0, 38, -120}, {0, 34, 150}, 9)) return Material::bone;
    if (rod(in, {58, 0, 70}, {60, 10, -60}, 5)) return Material::bone;
    if (ellipsoid(in, {0, -4, 165}, {34, 38, 44}) && !ellipsoid(in, {0, -4, 165}, {29, 33, 39})) return Material::bone;
    for (int n = 0; n < 6; ++n) {
      const double z = -30 + 22 * n, radius = (in - Vec3(0, 0, in.z())).cwiseQuotient(Vec3(62, 40, 1)).norm();
      if (std::abs(in.z() - z) < 4 && radius > 0.88 && radius < 1 && std::abs(in.x()) > 6) return Material::bone;
    }
    if (ellipsoid(in, {0, -2, 20}, {48, 30, 90})) return in.y() > packing_from_mm + 0.08 * in.x() ? Material::packing : Material::air;
    return Material::body;
  }
  [[nodiscard]] double hu_of(Material m) const {
    switch (m) {
      case Material::wrapping: return -830;
      case Material::body: return 60;
      case Material::packing: return packing_hu;
      case Material::bone: return 750;
      case Material::dense: return 2800;
      case Material::support: return -550;
      default: return -1000;
    }
  }
};

/// A body as a scanner sees it.
struct Scan {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials;
};

/// `lps_from_body` lays the body in the scanner; a board lies under it along LPS y, whatever its posture. Each voxel is
/// the mean of eight samples, with noise that goes together over neighbours as a soft kernel makes it.
inline Scan scan_of(const TestBody& body, const RigidTransform& lps_from_body, const Grid& grid, double noise_hu,
                    unsigned seed) {
  Scan scan{{grid, std::vector<std::int16_t>(grid.voxel_count())}, {grid, std::vector<std::uint8_t>(grid.voxel_count())}};
  const RigidTransform body_from_lps = lps_from_body.inverse();
  double lowest = -1e9;   // the body's underside
  for (double a = 0; a < 6.28; a += 0.2)
    for (double b = -1.5; b < 1.6; b += 0.2)
      lowest = std::max(lowest, lps_from_body
                                    .apply({82 * std::cos(a) * std::cos(b), 58 * std::sin(a) * std::cos(b), 150 * body.stretch * std::sin(b)})
                                    .y());
  std::mt19937 draw(seed);
  std::normal_distribution<double> normal(0, noise_hu);
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        std::array<int, kMaterialCount> votes{};
        double hu = 0;
        for (int s = 0; s < 8; ++s) {
          const Vec3 off((s & 1) * 0.5 - 0.25, (s >> 1 & 1) * 0.5 - 0.25, (s >> 2 & 1) * 0.5 - 0.25);
          const Vec3 lps = grid.lps_from_index(Vec3(i, j, k) + off);
          Material m = body.material_at(body_from_lps.apply(lps));
          if (m == Material::air && body.with_board && lps.y() > lowest && lps.y() < lowest + 14 && std::abs(lps.x() - lps_from_body.translation_mm.x()) < 100)
            m = Material::support;
          ++votes[static_cast<std::size_t>(m)];
          hu += body.hu_of(m) / 8;
        }
        const std::size_t n = grid.offset(i, j, k);
        scan.hu.values[n] = static_cast<std::int16_t>(std::clamp(std::lround(hu + normal(draw)), -1024L, 3071L));
        scan.materials.values[n] =
            static_cast<std::uint8_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
      }
  return scan;
}

/// A grid about the posed body, its own direction turned by `turn`.
inline Grid grid_about(const RigidTransform& lps_from_body, const Vec3& spacing_mm, const Mat3& turn = Mat3::Identity()) {
  Grid grid;
  grid.spacing_mm = spacing_mm;
  grid.direction = turn;
  Vec3 low = Vec3::Constant(1e9), high = Vec3::Constant(-1e9);
  for (int n = 0; n < 8; ++n) {
    const Vec3 corner((n & 1) != 0 ? 90 : -90, (n & 2) != 0 ? 80 : -66, (n & 4) != 0 ? 235 : -158);
    const Vec3 c = turn.transpose() * lps_from_body.apply(corner);
    low = low.cwiseMin(c), high = high.cwiseMax(c);
  }
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    grid.size[a] = static_cast<int>(std::ceil((high[e] - low[e]) / spacing_mm[e])) + 1;
  }
  grid.origin_lps_mm = turn * low;
  return grid;
}

inline RigidTransform pose(const Vec3& axis, double degrees, const Vec3& shift_mm) {
  return {Eigen::AngleAxisd(degrees * 3.14159265358979 / 180, axis.normalized()).toRotationMatrix(), shift_mm};
}

/// Puts a hollow or a steel cylinder into a scan: each voxel takes its share of it.
inline void put_cylinder(Volume<std::int16_t>& hu, const Vec3& from, const Vec3& to, double radius_mm, double bore_mm,
                         double inside_hu) {
  const Vec3 axis = (to - from).normalized();
  const double length = (to - from).norm();
  const Grid& g = hu.grid;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j)
      for (int i = 0; i < g.size[0]; ++i) {
        double share = 0;
        for (int s = 0; s < 64; ++s) {
          const Vec3 off((s & 3) / 4.0 - 0.375, (s >> 2 & 3) / 4.0 - 0.375, (s >> 4 & 3) / 4.0 - 0.375);
          const Vec3 p = g.lps_from_index(Vec3(i, j, k) + off) - from;
          const double t = p.dot(axis), r = (p - t * axis).norm();
          share += (t > 0 && t < length && r < radius_mm && r > bore_mm) / 64.0;
        }
        auto& value = hu.values[g.offset(i, j, k)];
        value = static_cast<std::int16_t>(std::clamp((1 - share) * value + share * inside_hu, -1024.0, 3071.0));
      }
}

}  // namespace leastharm::test
