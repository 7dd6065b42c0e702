#include "start.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "segment/parallel.h"

namespace leastharm::registration_detail {
namespace {

using segment_detail::for_chunks;
using segment_detail::worker_count;

/// The 24 ways to lay three axes onto three axes without mirroring.
std::vector<Mat3> axis_orders() {
  std::vector<Mat3> orders;
  std::array<int, 3> order{0, 1, 2};
  do {
    for (int signs = 0; signs < 8; ++signs) {
      Mat3 m = Mat3::Zero();
      for (int a = 0; a < 3; ++a) m(order[static_cast<std::size_t>(a)], a) = (signs >> a & 1) != 0 ? -1 : 1;
      if (m.determinant() > 0) orders.push_back(m);
    }
  } while (std::ranges::next_permutation(order).found);
  return orders;
}

RigidTransform about(const Mat3& rotation, const Vec3& from, const Vec3& to) { return {rotation, to - rotation * from}; }

/// Motions that lay the one part's moments on the other's.
void add_by_moments(const Moments& planning, const Moments& day, std::vector<RigidTransform>& starts) {
  if (planning.weight <= 0 || day.weight <= 0) return;
  for (const Mat3& order : axis_orders()) {
    starts.push_back(about(day.axes * order * planning.axes.transpose(), planning.middle, day.middle));
    starts.push_back(about(order, planning.middle, day.middle));
  }
}

/// The same, slid along the body's length.
std::vector<RigidTransform> slid(const std::vector<RigidTransform>& starts, const Vec3& length, double reach_mm) {
  constexpr double kStep_mm = 40;
  std::vector<RigidTransform> all;
  for (const RigidTransform& s : starts)
    for (double by = kStep_mm; by <= reach_mm; by += kStep_mm)
      for (const double sign : {-1.0, 1.0})
        all.push_back({s.rotation, s.translation_mm + sign * by * (s.rotation * length)});
  return all;
}

struct Ranked {
  Fit fit;
  double rank = 0;
};

void rank_all(std::span<const Probe> probes, const Reader& day, std::vector<Ranked>& all, int threads) {
  for_chunks(static_cast<int>(all.size()), 8, worker_count(threads), [&](int, int first, int last) {
    for (int n = first; n < last; ++n) {
      Ranked& r = all[static_cast<std::size_t>(n)];
      r.rank = rank_of(agreement_of(probes, day, r.fit.motion));
    }
  });
  std::ranges::stable_sort(all, std::greater{}, &Ranked::rank);
}

void align_all(std::span<const Probe> probes, const Reader& day, std::vector<Ranked>& all, int rounds, int threads) {
  for_chunks(static_cast<int>(all.size()), 1, worker_count(threads), [&](int, int first, int last) {
    for (int n = first; n < last; ++n) {
      Fit& fit = all[static_cast<std::size_t>(n)].fit;
      fit = align(probes, day, fit, rounds, 1);
    }
  });
  rank_all(probes, day, all, threads);
}

}  // namespace

double rank_of(const Agreement& a) { return a.covered < 0.15 ? -1 : a.correlation * std::pow(a.covered, 0.15); }

Moments moments_of(const Level& level, Part part, const std::vector<std::uint8_t>& share) {
  const float least_hu = part == Part::dense ? 150 : -850;
  const Grid& g = level.grid;
  double weight = 0;
  Vec3 first = Vec3::Zero();
  Mat3 second = Mat3::Zero();
  std::size_t n = 0;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j)
      for (int i = 0; i < g.size[0]; ++i, ++n) {
        if (level.hu[n] < least_hu) continue;
        double w = part == Part::dense ? 1 : (level.hu[n] + 1000) / 1000;
        if (!share.empty()) w *= share[n] / 255.0;
        const Vec3 p = g.lps_from_index({double(i), double(j), double(k)});
        weight += w, first += w * p, second += w * p * p.transpose();
      }
  Moments m{.weight = weight};
  if (weight <= 0) return m;
  m.middle = first / weight;
  const Eigen::SelfAdjointEigenSolver<Mat3> axes(second / weight - m.middle * m.middle.transpose());
  m.axes = axes.eigenvectors();
  if (m.axes.determinant() < 0) m.axes.col(0) *= -1;
  m.extent_mm = axes.eigenvalues().cwiseMax(0).cwiseSqrt();
  return m;
}

std::vector<Fit> starts_of(const Level& planning, const std::vector<std::uint8_t>& object, const Level& day,
                           std::span<const Probe> probes, int most, int threads) {
  constexpr std::size_t kToAlign = 96, kBySliding = 48;
  const Reader reader(day);
  const Moments body = moments_of(planning, Part::all, object);
  std::vector<RigidTransform> starts;
  add_by_moments(body, moments_of(day, Part::all, {}), starts);
  add_by_moments(moments_of(planning, Part::dense, object), moments_of(day, Part::dense, {}), starts);
  add_by_moments(moments_of(planning, Part::all, {}), moments_of(day, Part::all, {}), starts);

  const auto ranked = [&](const std::vector<RigidTransform>& motions) {
    std::vector<Ranked> all;
    for (const RigidTransform& m : motions) all.push_back({.fit = {.motion = m}});
    rank_all(probes, reader, all, threads);
    return all;
  };
  std::vector<Ranked> best = ranked(starts);
  if (best.size() > kToAlign) best.resize(kToAlign);
  // Bodies are scanned lying along the table, whatever part is in view: the plain axis orders are enough here.
  std::vector<Ranked> slides = ranked(slid(starts, body.axes.col(2), 4 * body.extent_mm[2]));
  slides.resize(std::min(slides.size(), kBySliding));
  best.insert(best.end(), slides.begin(), slides.end());
  align_all(probes, reader, best, 2, threads);
  best.resize(std::min<std::size_t>(best.size(), static_cast<std::size_t>(3 * most)));
  align_all(probes, reader, best, 4, threads);
  std::vector<Fit> fits;
  for (const Ranked& r : best) {
    const bool known = std::ranges::any_of(fits, [&](const Fit& f) {   // many starts end in one place
      return (f.motion.apply(body.middle) - r.fit.motion.apply(body.middle)).norm() < 5 &&
             (f.motion.rotation - r.fit.motion.rotation).norm() < 0.1;
    });
    if (!known && fits.size() < static_cast<std::size_t>(most)) fits.push_back(r.fit);
  }
  return fits;
}

}  // namespace leastharm::registration_detail
