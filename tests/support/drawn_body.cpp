#include "drawn_body.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <thread>
#include <vector>

#include "drawn_plan.h"
#include "imaging/material.h"

namespace leastharm::test {
namespace {

double ellipsoid(const Vec3& p, const Vec3& centre, const Vec3& radii) {
  const Vec3 q = (p - centre).cwiseQuotient(radii);
  const double k0 = q.norm(), k1 = q.cwiseQuotient(radii).norm();
  return k0 < 1e-6 ? -radii.minCoeff() : k0 * (k0 - 1) / k1;
}
double rod(const Vec3& p, const Vec3& a, const Vec3& b, double ra, double rb) {
  const double t = std::clamp((p - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0);
  return (p - a - t * (b - a)).norm() - ra - t * (rb - ra);
}
double blended(double a, double b, double k) {
  const double h = std::max(k - std::abs(a - b), 0.0) / k;
  return std::min(a, b) - h * h * k / 4;
}

struct Spot {
  Material material = Material::air;
  double hu = -1000;
};

struct Limb {
  Vec3 a, b;
  double ra, rb, bone;
};

/// The body in its own frame (mm of an adult; x to its left, y to its back, z to its head).
class Solid {
 public:
  explicit Solid(const Plan& plan) : p_(plan), down_(plan.lying_pools ? Vec3(plan.turn.transpose() * Vec3(0, 1, 0)) : Vec3(0, 1, 0)) {
    for (const double s : {1.0, -1.0}) {
      const Vec3 shoulder(s * 150, 8, 385), elbow(s * 178, 16, 130), hand = p_.arms_crossed ? Vec3(-s * 40, -118, 235) : Vec3(s * 150, -30, -110);
      limbs_.push_back({shoulder, elbow, 36, 29, 12});
      limbs_.push_back({elbow, hand, 29, 19, 9});
      limbs_.push_back({Vec3(s * 80, 5, -60), Vec3(s * 68, 0, -420), 68, 44, 15});
      limbs_.push_back({Vec3(s * 68, 0, -420), Vec3(s * 60, 12, -780), 44, 26, 13});
    }
  }
  [[nodiscard]] double skin(const Vec3& p, double blend) const {
    double d = ellipsoid(p, {0, 0, 160}, {142, 88, 300});
    d = blended(d, ellipsoid(p, {0, 4, -40}, {138, 82, 110}), 40);
    d = blended(d, rod(p, {0, 8, 400}, {0, -2, 500}, 50, 44), 30);
    d = blended(d, ellipsoid(p, {0, -14, 580}, {72, 94, 112}), 15);
    for (const Limb& l : limbs_) d = blended(d, rod(p, l.a, l.b, l.ra, l.rb), std::max(blend, 1.0));
    return d;
  }
  [[nodiscard]] double outside(const Vec3& p) const {
    if (!p_.wrapped) return skin(p, 12);
    return skin(p, p_.snug_mm) - p_.wrapping_mm * (1 + 0.15 * wave(p, 90)) - p_.fold_mm;
  }
  [[nodiscard]] Spot at(const Vec3& p) const {
    const double out = outside(p);
    if (out > 0 || std::abs(p.z() + 0.2 * p.x() + 4 * wave(p, 60) - p_.gap_z) < 0.5 * p_.gap_mm) return {};
    const double skin_mm = skin(p, 12);
    if (skin_mm > 0) return wrapping(p, out, skin_mm);
    if (const Spot spot = bones(p); spot.material == Material::bone) return spot;
    if (const Spot spot = hollow(p, skin_mm); spot.hu > -5000) return spot;
    return tissue(p, skin_mm);
  }

 private:
  [[nodiscard]] double wave(const Vec3& p, double length) const {
    const double f = 2 * std::numbers::pi / length;
    return std::sin(f * p.x() + p_.phase[0] + 1.3 * std::sin(0.6 * f * p.y())) * std::sin(f * p.y() * 1.1 + p_.phase[1] + std::sin(0.7 * f * p.z())) *
               std::sin(0.8 * f * p.z() + p_.phase[2]) * 1.6;
  }
  [[nodiscard]] Spot wrapping(const Vec3& p, double out, double skin_mm) const {
    if (skin_mm < p_.fold_mm * std::max(0.0, 0.5 + wave(p, 70)) && p.y() < 55) return {};
    if (p_.amulet && ellipsoid(p, {30, -100, 300}, {13, 9, 17}) < 0) return {Material::dense, p_.find_hu};
    return {Material::wrapping, p_.linen_hu + p_.layers_hu * std::sin(2 * std::numbers::pi * out / 3)};
  }
  [[nodiscard]] Spot tissue(const Vec3& p, double skin_mm) const {
    if (p_.living && skin_mm > -14) return {Material::body, -100 + 8 * wave(p, 30)};
    return {Material::body, p_.tissue_hu + p_.tissue_broad_hu * wave(p, 28) + 0.4 * p_.tissue_broad_hu * wave(p, 9)};
  }
  [[nodiscard]] Spot shelled(double d, double shell_mm, double inside_hu, const Vec3& p) const {
    return {Material::bone, d > -shell_mm ? p_.cortex_hu : inside_hu + 70 * wave(p, 8)};
  }
  [[nodiscard]] Spot bones(const Vec3& p) const {
    if (p.z() > -60 && p.z() < 520) {
      const double period = 32, n = std::floor(p.z() / period), z = p.z() - (n + 0.5) * period;
      const double y = 45 - 12 * std::sin(p.z() / 160);
      const double d = std::max(std::hypot(p.x(), (p.y() - y) * 1.2) - 21, std::abs(z) - 12.5);
      if (d < 0) return shelled(d, 1.8, p_.spongy_hu, p);
      if (std::abs(z) < 8 && rod(p, {0, y + 18, p.z()}, {0, y + 36, p.z()}, 6, 4) < 0) return {Material::bone, 0.8 * p_.cortex_hu};
    }
    if (p.z() > 190 && p.z() < 420) {
      const double d = ellipsoid(p, {0, 0, 160}, {142, 88, 300}), tilt = p.z() + 0.35 * p.y();
      const double ring = std::hypot(d + 7, std::remainder(tilt, 24) * 0.8);
      if (ring < 4 && std::abs(p.x()) > 14) return {Material::bone, 0.75 * p_.cortex_hu};
    }
    if (const double d = ellipsoid(p, {0, -14, 586}, {64, 86, 98}); d < 0 && d > -6.5 && p.z() > 520) return {Material::bone, p_.cortex_hu};
    for (const double s : {1.0, -1.0}) {
      const double d = ellipsoid(p, {s * 62, 22, -40}, {52, 32, 66});
      if (d < 0 && d > -11) return shelled(std::max(d, -11 - d), 2, p_.spongy_hu, p);
    }
    for (const Limb& l : limbs_) {
      const double d = rod(p, l.a, l.b, l.bone, 0.75 * l.bone);
      if (d < 0) return shelled(d, 0.38 * l.bone, 0.4 * p_.spongy_hu, p);
    }
    return {};
  }
  /// The body's rooms: cavity and skull; hu far below any where the point lies in neither.
  [[nodiscard]] Spot hollow(const Vec3& p, double skin_mm) const {
    const double skull = ellipsoid(p, {0, -14, 586}, {57.5, 79.5, 91.5});
    if (skull < 0 && p.z() > 520) {
      if (p_.living) return {Material::body, 35 + 5 * wave(p, 20)};
      if (p_.resin && low(p, {0, -14, 586}) > 39) return {Material::resin, p_.resin_hu};
      if (p_.brain && (p_.lying_pools ? ellipsoid(p, {0, 30, 575}, {40, 42, 52}) + 8 * wave(p, 50) < 0 : p.y() > -5)) return {Material::body, p_.tissue_hu - 30 + p_.tissue_broad_hu * wave(p, 16)};
      if (p_.skull_linen) return {Material::packing, p_.linen_hu + p_.layers_hu * wave(p, 9)};
      return {};
    }
    const bool slit = p_.opening && std::abs(p.z() - 120) < 26 && std::abs(p.y() + 18) < 9 && p.x() > 70 && p.x() < 200 && skin_mm > -60;
    const double room = std::max(ellipsoid(p, {0, -6, 190}, {132 - p_.wall_mm, 76 - p_.wall_mm, 235}), skin_mm + p_.wall_mm);
    const bool spine = rod(p, {0, 52, -60}, {0, 52, 520}, 36, 36) < 0;
    if (p_.living) {
      for (const double s : {1.0, -1.0})
        if (const double lung = std::max(ellipsoid(p, {s * 58, 0, 285}, {44, 56, 115}), skin_mm + 24); lung < 0)
          return {Material::air, -860 + 60 * wave(p, 11) + (std::abs(wave(p, 23)) > 0.95 ? 500 : 0)};
      return {Material::body, -9999};
    }
    if (slit && room > 0) return {};
    if (room > 0 || spine) return {Material::body, -9999};
    return filled(p);
  }
  /// How far towards the floor a point lies from another: as the object lies, or towards its back.
  [[nodiscard]] double low(const Vec3& p, const Vec3& from) const { return (p - from).dot(down_); }
  [[nodiscard]] Spot filled(const Vec3& p) const {
    if (p_.organs && std::abs(wave(p, 170)) < 0.06 && wave(p, 130) > -0.3) return {Material::body, p_.tissue_hu + p_.tissue_broad_hu * wave(p, 18)};
    const Spot filling{Material::packing, p_.filling_hu + p_.filling_grain_hu * (0.6 * wave(p, 14) + 0.6 * wave(p, 6))};
    if (p_.filling == Filling::full) return filling;
    if (p_.filling == Filling::level && p.y() > -12 + 4 * wave(p, 60)) return filling;
    if (p_.filling == Filling::columns)
      for (const double s : {1.0, -1.0})
        if (rod(p, {s * 58, 8, 80}, {s * 58, 8, 310}, 30, 27) + 3 * wave(p, 25) < 0) return filling;
    if (p_.resin && p_.filling == Filling::none && low(p, {0, -6, 190}) > 24) return {Material::resin, p_.resin_hu};
    return {};
  }

  const Plan& p_;
  Vec3 down_;
  std::vector<Limb> limbs_;
};

/// The body where it lies, with what it lies on.
class Scenery {
 public:
  Scenery(const Plan& plan, const Solid& solid) : p_(plan), solid_(solid) {
    constexpr double kStep = 9;
    low_ = Vec3::Constant(1e9), high_ = -low_;
    for (double z = p_.low_z; z <= p_.high_z; z += kStep)
      for (double y = -220; y <= 220; y += kStep)
        for (double x = -290; x <= 290; x += kStep)
          if (solid_.outside({x, y, z}) < 3) {
            const Vec3 q = p_.turn * Vec3(x, y, z);
            low_ = low_.cwiseMin(q), high_ = high_.cwiseMax(q);
          }
  }
  [[nodiscard]] const Vec3& low() const { return low_; }
  [[nodiscard]] const Vec3& high() const { return high_; }
  [[nodiscard]] Spot at(const Vec3& lps) const {
    const Spot body = solid_.at(p_.turn.transpose() * lps);
    return body.material != Material::air || body.hu > -999 || !carries(lps) ? body : Spot{Material::support, p_.wood_hu};
  }
  /// Whether all within `reach_mm` of a point is surely air.
  [[nodiscard]] bool nothing_near(const Vec3& lps, double reach_mm) const {
    constexpr double kSteepest = 2.5;   // of `outside`: waves of the wrapping
    if (solid_.outside(p_.turn.transpose() * lps) < kSteepest * reach_mm + 3) return false;
    for (const double dx : {-reach_mm, reach_mm})
      for (const double dy : {-reach_mm, 0.0, reach_mm})
        if (carries(lps + Vec3(dx, dy, 0))) return false;
    return true;
  }

 private:
  [[nodiscard]] bool carries(const Vec3& p) const {
    const double under = p.y() - high_.y() + 3 - p_.ground_tilt * p.x(), half = 0.55 * (high_.x() - low_.x());
    const double x = p.x() - 0.5 * (low_.x() + high_.x());
    switch (p_.ground) {
      case Ground::none: return false;
      case Ground::board: return under > 0 && under < p_.ground_mm && std::abs(x) < half;
      case Ground::table: {
        const double bow = under + x * x / (6 * half) - 6;
        return bow > 0 && bow < p_.ground_mm && std::abs(x) < half + 20;
      }
      case Ground::coffin: {
        const double side = std::max(std::abs(x) - half - 12, std::max(under, low_.y() - 8 - p.y()));
        return side > 0 && side < p_.ground_mm && std::abs(x) < half + 12 + p_.ground_mm;
      }
    }
    return false;
  }

  const Plan& p_;
  const Solid& solid_;
  Vec3 low_, high_;
};

Grid grid_for(const Plan& plan, const Scenery& scenery) {
  const bool grounded = plan.ground != Ground::none;
  Vec3 margin(plan.margin_mm, plan.margin_mm, 0);
  Vec3 low = scenery.low() - margin, high = scenery.high() + margin;
  if (grounded && plan.margin_mm > 0) high.y() += plan.ground_mm + 8;
  if (plan.ground == Ground::coffin && plan.margin_mm > 0) {
    const double more = 0.06 * (high.x() - low.x()) + 14 + plan.ground_mm;
    low.x() -= more, high.x() += more, low.y() -= 10 + plan.ground_mm;
  }
  low *= plan.scale, high *= plan.scale;
  Grid grid;
  grid.spacing_mm = plan.spacing_mm;
  grid.origin_lps_mm = low;
  for (int a = 0; a < 3; ++a) grid.size[static_cast<std::size_t>(a)] = static_cast<int>((high - low)[a] / plan.spacing_mm[a]) + 1;
  return grid;
}

void in_slices(int slices, const std::function<void(int)>& work) {
  std::vector<std::thread> workers;
  for (int t = 0; t < 2; ++t)
    workers.emplace_back([&, t] {
      for (int k = t; k < slices; k += 2) work(k);
    });
  for (std::thread& w : workers) w.join();
}

/// A voxel's mean HU, and its truth.
void sample(const Plan& plan, const Scenery& scenery, const Grid& grid, int k, std::vector<float>& hu, Volume<std::uint8_t>& truth) {
  const double reach = 0.5 * grid.spacing_mm.norm() / plan.scale;   // twice as far as the samples lie
  for (int j = 0; j < grid.size[1]; ++j)
    for (int i = 0; i < grid.size[0]; ++i) {
      PerMaterial<int> votes{};
      double sum = 0;
      const std::size_t v = grid.offset(i, j, k);
      if (scenery.nothing_near(grid.lps_from_index(Vec3(i, j, k)) / plan.scale, reach)) {
        hu[v] = -1000, truth.values[v] = 0;
        continue;
      }
      // The middle has half a vote: it decides where the eight are split, so that no material wins every tie.
      ++votes[static_cast<std::size_t>(scenery.at(grid.lps_from_index(Vec3(i, j, k)) / plan.scale).material)];
      for (int s = 0; s < 8; ++s) {
        const Vec3 index(i + (s & 1 ? 0.25 : -0.25), j + (s & 2 ? 0.25 : -0.25), k + (s & 4 ? 0.25 : -0.25));
        const Spot spot = scenery.at(grid.lps_from_index(index) / plan.scale);
        votes[static_cast<std::size_t>(spot.material)] += 2;
        sum += spot.hu;
      }
      hu[v] = static_cast<float>(sum / 8);
      truth.values[v] = static_cast<std::uint8_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
    }
}

/// A soft kernel: every voxel takes `share` from each neighbour in its plane.
void soften(const Grid& grid, int k, float share, std::vector<float>& values) {
  const auto w = static_cast<std::size_t>(grid.size[0]), h = static_cast<std::size_t>(grid.size[1]);
  float* plane = &values[grid.offset(0, 0, k)];
  std::vector<float> line(std::max(w, h));
  const auto pass = [&](std::size_t lines, std::size_t step, std::size_t count, std::size_t stride) {
    for (std::size_t l = 0; l < lines; ++l) {
      float* at = plane + l * step;
      for (std::size_t n = 0; n < count; ++n) line[n] = at[n * stride];
      for (std::size_t n = 1; n + 1 < count; ++n) at[n * stride] = (1 - 2 * share) * line[n] + share * (line[n - 1] + line[n + 1]);
    }
  };
  pass(h, w, w, 1);
  pass(w, 1, h, w);
}

bool in_field(const Grid& grid, int i, int j) {
  const double x = (i - 0.5 * (grid.size[0] - 1)) * grid.spacing_mm.x(), y = (j - 0.5 * (grid.size[1] - 1)) * grid.spacing_mm.y();
  return std::hypot(x, y) < 0.5 * std::max(grid.size[0] * grid.spacing_mm.x(), grid.size[1] * grid.spacing_mm.y());
}

void finish_slice(const Plan& plan, unsigned seed, int k, const std::vector<float>& hu, DrawnBody& out) {
  const Grid& grid = out.hu.grid;
  const std::size_t plane = static_cast<std::size_t>(grid.size[0]) * static_cast<std::size_t>(grid.size[1]);
  std::mt19937 engine(seed * 1000003U + static_cast<unsigned>(k));
  std::normal_distribution<float> normal;
  Grid flat = grid;
  flat.size[2] = 1;
  std::vector<float> noise(plane);
  for (float& n : noise) n = normal(engine);
  const auto share = static_cast<float>(plan.blur);
  soften(flat, 0, share, noise);
  const double left = (1 - 2 * share) * (1 - 2 * share) + 2 * share * share;   // of the noise's variance, along one axis
  for (int j = 0; j < grid.size[1]; ++j)
    for (int i = 0; i < grid.size[0]; ++i) {
      const std::size_t v = grid.offset(i, j, k);
      const double clean = static_cast<double>(hu[v]) * (hu[v] > 0 ? plan.hu_scale : 1.0) + plan.hu_offset;
      const double value = clean + plan.noise_hu / left * static_cast<double>(noise[v - grid.offset(0, 0, k)]);
      out.hu.values[v] = static_cast<std::int16_t>(std::lround(std::clamp(value, -1024.0, 3071.0)));
      if (plan.corner_hu == 0 || in_field(grid, i, j)) continue;
      out.hu.values[v] = static_cast<std::int16_t>(plan.corner_hu);
      out.truth.values[v] = 0;
    }
}

}  // namespace

DrawnBody drawn_body(unsigned seed, double coarser) {
  const Plan plan = drawn_plan(seed, coarser);
  const Solid solid(plan);
  const Scenery scenery(plan, solid);
  DrawnBody out;
  const Grid grid = grid_for(plan, scenery);
  out.hu = {grid, std::vector<std::int16_t>(grid.voxel_count())};
  out.truth = {grid, std::vector<std::uint8_t>(grid.voxel_count())};
  out.frame.head = plan.turn * Vec3(0, 0, 1);
  out.frame.front = plan.turn * Vec3(0, -1, 0);
  out.frame.certainty = 1;
  out.what = described(plan);
  std::vector<float> hu(grid.voxel_count());
  in_slices(grid.size[2], [&](int k) { sample(plan, scenery, grid, k, hu, out.truth); });
  in_slices(grid.size[2], [&](int k) { soften(grid, k, static_cast<float>(plan.blur), hu); });
  in_slices(grid.size[2], [&](int k) { finish_slice(plan, seed, k, hu, out); });
  return out;
}

}  // namespace leastharm::test
