#include "align.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "segment/parallel.h"

namespace leastharm::registration_detail {
namespace {

using segment_detail::for_chunks;
using segment_detail::worker_count;

constexpr int kChunk = 1024;
constexpr double kLeastScaleHu = 15;   // noise that is left after smoothing: closer agreement means nothing
constexpr double kCauchy = 2.385;      // 95 % efficient under normal noise
constexpr double kProbesAVoice = 8;    // smoothing makes neighbours go together: so many say one thing
constexpr int kLeastProbes = 40;
// Where a part has moved, borders misfit by hundreds of HU while most of the rest is alike: they must keep their say.
constexpr double kLeastShiftScaleHu = 80;

using Vec8 = Eigen::Matrix<double, 8, 1>;
using Mat8 = Eigen::Matrix<double, 8, 8>;

/// SplitMix64's finaliser: spreads indices evenly, the same everywhere.
std::uint64_t hash_of(std::uint64_t n) {
  n += 0x9e3779b97f4a7c15ULL;
  n = (n ^ (n >> 30)) * 0xbf58476d1ce4e5b9ULL;
  n = (n ^ (n >> 27)) * 0x94d049bb133111ebULL;
  return n ^ (n >> 31);
}

struct Normal {
  Mat8 h = Mat8::Zero();
  Vec8 b = Vec8::Zero();
  double cost = 0;
  int count = 0;
  void add(const Normal& other) {
    h += other.h, b += other.b, cost += other.cost, count += other.count;
  }
};

/// What stays the same while one scan is aligned with the other.
struct Problem {
  std::span<const Probe> probes;
  const Reader& day;
  Vec3 pivot;         // in the planning CT: turning about it leaves shift and turn nearly independent
  double reach_mm;    // of the object about the pivot: brings turns to the scale of shifts
  int threads;
};

double residual(const Probe& p, const Reading& r, const Fit& fit) { return r.hu - fit.gain * p.hu - fit.offset_hu; }

/// Median size of the residuals, as a normal standard deviation.
double scale_of(const Problem& problem, const Fit& fit) {
  std::vector<double> sizes(problem.probes.size(), -1);
  for_chunks(static_cast<int>(sizes.size()), kChunk, problem.threads, [&](int, int first, int last) {
    for (int n = first; n < last; ++n) {
      const Probe& p = problem.probes[static_cast<std::size_t>(n)];
      const Reading r = problem.day.at(fit.motion.apply(p.lps_mm));
      if (r.inside) sizes[static_cast<std::size_t>(n)] = std::abs(residual(p, r, fit));
    }
  });
  std::erase_if(sizes, [](double s) { return s < 0; });
  if (sizes.empty()) return kLeastScaleHu;
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::ranges::nth_element(sizes, middle);
  return std::max(kLeastScaleHu, 1.4826 * *middle);
}

/// Normal equations over one chunk. Unknowns: turn x reach, shift, gain x 1000, offset.
Normal normal_of(const Problem& problem, const Fit& fit, double scale_hu, int first, int last, bool slopes) {
  Normal sum;
  const Vec3 centre = fit.motion.apply(problem.pivot);
  const double c2 = kCauchy * kCauchy * scale_hu * scale_hu;
  for (int n = first; n < last; ++n) {
    const Probe& p = problem.probes[static_cast<std::size_t>(n)];
    const Vec3 at = fit.motion.apply(p.lps_mm);
    const Reading r = problem.day.at(at);
    if (!r.inside) continue;
    const double e = residual(p, r, fit);
    const double w = 1 / (1 + e * e / c2);
    sum.cost -= 0.5 * c2 * std::log(w);
    ++sum.count;
    if (!slopes) continue;
    const Vec3 g = 0.5 * (r.slope + fit.gain * (fit.motion.rotation * p.slope));
    Vec8 row;
    row << (at - centre).cross(g) / problem.reach_mm, g, -p.hu / 1000, -1;
    sum.h.noalias() += w * row * row.transpose();
    sum.b.noalias() -= w * e * row;
  }
  return sum;
}

Normal normal_of(const Problem& problem, const Fit& fit, double scale_hu, bool slopes) {
  const int count = static_cast<int>(problem.probes.size());
  std::vector<Normal> chunks(static_cast<std::size_t>((count + kChunk - 1) / kChunk));
  for_chunks(count, kChunk, problem.threads, [&](int chunk, int first, int last) {
    chunks[static_cast<std::size_t>(chunk)] = normal_of(problem, fit, scale_hu, first, last, slopes);
  });
  Normal sum;
  for (const Normal& chunk : chunks) sum.add(chunk);
  return sum;
}

Fit moved_by(const Problem& problem, const Fit& fit, const Vec8& step) {
  const Vec3 turn = step.head<3>() / problem.reach_mm;
  const double angle = turn.norm();
  const Mat3 spin =
      angle > 0 ? Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix() : Mat3::Identity();
  const Vec3 centre = fit.motion.apply(problem.pivot);
  Fit next = fit;
  next.motion.rotation = spin * fit.motion.rotation;
  next.motion.translation_mm = spin * (fit.motion.translation_mm - centre) + centre + step.segment<3>(3);
  next.gain += step[6] / 1000;
  next.offset_hu += step[7];
  return next;
}

/// A product of many rotations drifts off the rotations; this brings it back.
void make_proper(Mat3& rotation) {
  rotation = Eigen::Quaterniond(rotation).normalized().toRotationMatrix();
}

double mean_cost(const Normal& n, double prior) {
  return n.count == 0 ? 1e300 : (n.cost + prior) / n.count;
}

}  // namespace

std::vector<Probe> probes_of(const Level& level, const std::vector<std::uint8_t>& object,
                             const std::vector<std::uint8_t>& support, std::size_t most, double least_step_hu) {
  const Grid& g = level.grid;
  std::vector<std::pair<std::uint64_t, Probe>> found;
  for (int k = 1; k + 1 < g.size[2]; ++k)
    for (int j = 1; j + 1 < g.size[1]; ++j)
      for (int i = 1; i + 1 < g.size[0]; ++i) {
        bool near_object = false, near_support = false;
        for (int c = -1; c <= 1; ++c)
          for (int b = -1; b <= 1; ++b)
            for (int a = -1; a <= 1; ++a) {
              const std::size_t n = g.offset(i + a, j + b, k + c);
              near_object |= object[n] > 127;
              near_support |= support[n] > 0;
            }
        if (!near_object || near_support) continue;
        const auto at = [&](int a, int b, int c) { return level.hu[g.offset(i + a, j + b, k + c)]; };
        const Vec3 step(0.5 * (at(1, 0, 0) - at(-1, 0, 0)), 0.5 * (at(0, 1, 0) - at(0, -1, 0)),
                        0.5 * (at(0, 0, 1) - at(0, 0, -1)));
        if (step.norm() < least_step_hu) continue;
        found.emplace_back(hash_of(g.offset(i, j, k)),
                           Probe{g.lps_from_index({double(i), double(j), double(k)}), at(0, 0, 0),
                                 g.direction * step.cwiseQuotient(g.spacing_mm)});
      }
  const auto by_hash = [](const auto& a, const auto& b) { return a.first < b.first; };
  if (found.size() > most) {
    std::ranges::nth_element(found, found.begin() + static_cast<std::ptrdiff_t>(most), by_hash);
    found.resize(most);
  }
  std::ranges::sort(found, by_hash);
  std::vector<Probe> probes;
  for (auto& [hash, probe] : found) probes.push_back(probe);
  return probes;
}

Agreement agreement_of(std::span<const Probe> probes, const Reader& day, const RigidTransform& motion) {
  double n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
  for (const Probe& p : probes) {
    const Reading r = day.at(motion.apply(p.lps_mm));
    if (!r.inside) continue;
    n += 1, x += p.hu, y += r.hu, xx += p.hu * p.hu, yy += r.hu * r.hu, xy += p.hu * r.hu;
  }
  if (n < 10) return {};
  const double vx = xx - x * x / n, vy = yy - y * y / n, cov = xy - x * y / n;
  return {vx > 0 && vy > 0 ? cov / std::sqrt(vx * vy) : 0, n / static_cast<double>(probes.size())};
}

Fit align(std::span<const Probe> probes, const Reader& day, const Fit& start, int rounds, int threads,
          double prior_sd_mm) {
  constexpr int kStepsARound = 8;
  constexpr double kSmallStep_mm = 1e-4;
  Problem problem{probes, day, Vec3::Zero(), 1, worker_count(threads)};
  for (const Probe& p : probes) problem.pivot += p.lps_mm / static_cast<double>(probes.size());
  double spread = 0;
  for (const Probe& p : probes) spread += (p.lps_mm - problem.pivot).squaredNorm() / static_cast<double>(probes.size());
  problem.reach_mm = std::max(1.0, std::sqrt(spread));

  Fit fit = start;
  Vec8 gone = Vec8::Zero();   // steps taken so far, for the prior
  for (int round = 0; round < rounds; ++round) {
    const double scale = scale_of(problem, fit);
    const double pull = prior_sd_mm > 0 ? kProbesAVoice * scale * scale / (prior_sd_mm * prior_sd_mm) : 0;
    const auto prior_cost = [&](const Vec8& x) { return 0.5 * pull * x.head<6>().squaredNorm(); };
    double damping = 1e-3, largest = 0;
    Normal here = normal_of(problem, fit, scale, true);
    for (int step = 0; step < kStepsARound && here.count >= kLeastProbes; ++step) {
      Mat8 h = here.h;
      Vec8 b = here.b;
      h.diagonal().head<6>().array() += pull;
      b.head<6>() -= pull * gone.head<6>();
      h.diagonal() += damping * h.diagonal().eval() + Vec8::Constant(1e-9);
      const Vec8 move = h.ldlt().solve(b);
      const Fit next = moved_by(problem, fit, move);
      const Normal there = normal_of(problem, next, scale, false);
      if (mean_cost(there, prior_cost(gone + move)) < mean_cost(here, prior_cost(gone))) {
        fit = next;
        gone += move;
        largest = std::max(largest, move.head<6>().norm());
        damping = std::max(1e-6, damping / 10);
        if (move.head<6>().norm() < kSmallStep_mm) break;
        here = normal_of(problem, fit, scale, true);
      } else if ((damping *= 10) > 1e4) {
        break;
      }
    }
    make_proper(fit.motion.rotation);
    if (largest < 10 * kSmallStep_mm) break;
  }
  return fit;
}

namespace {

/// Residuals and slopes of probes at one shift.
struct ShiftRows {
  std::vector<double> errors;
  std::vector<Vec3> slopes;   // in the planning CT's directions
  double noise_hu = kLeastScaleHu, scale_hu = kLeastShiftScaleHu;
};

ShiftRows rows_at(std::span<const Probe> probes, const Reader& day, const Fit& fit, const Vec3& shift) {
  ShiftRows rows;
  for (const Probe& p : probes) {
    const Reading r = day.at(fit.motion.apply(p.lps_mm + shift));
    if (!r.inside) continue;
    rows.errors.push_back(residual(p, r, fit));
    rows.slopes.push_back(0.5 * (fit.motion.rotation.transpose() * r.slope + fit.gain * p.slope));
  }
  if (rows.errors.empty()) return rows;
  std::vector<double> sizes;
  for (const double e : rows.errors) sizes.push_back(std::abs(e));
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::ranges::nth_element(sizes, middle);
  rows.noise_hu = std::max(kLeastScaleHu, 1.4826 * *middle);
  rows.scale_hu = std::max(kLeastShiftScaleHu, rows.noise_hu);
  return rows;
}

/// Mean misfit, each probe's cut off where it says no more than "elsewhere".
double misfit(const ShiftRows& rows, double cut_hu) {
  double sum = 0;
  for (const double e : rows.errors) sum += std::min(std::abs(e), cut_hu);
  return rows.errors.empty() ? 1e300 : sum / static_cast<double>(rows.errors.size());
}

/// One of a few places about, where the probes fit clearly better than where they are.
Vec3 rough_shift(std::span<const Probe> probes, const Reader& day, const Fit& fit) {
  constexpr double kClearly = 0.9;
  constexpr std::size_t kEnough = 200;
  std::vector<Probe> some;
  for (std::size_t n = 0; n < std::min(kEnough, probes.size()); ++n)
    some.push_back(probes[n * probes.size() / std::min(kEnough, probes.size())]);
  probes = some;
  const ShiftRows here = rows_at(probes, day, fit, Vec3::Zero());
  const double cut = 4 * here.scale_hu;
  Vec3 best = Vec3::Zero();
  double least = kClearly * misfit(here, cut);
  for (const double by : {3.0, 6.0, 9.0})
    for (int axis = 0; axis < 3; ++axis)
      for (const double sign : {-1.0, 1.0}) {
        const Vec3 shift = sign * by * Vec3::Unit(axis);
        if (const double m = misfit(rows_at(probes, day, fit, shift), cut); m < least) least = m, best = shift;
      }
  return best;
}

}  // namespace

Shift shift_of(std::span<const Probe> probes, double density, const Reader& day, const Fit& fit, double most_sd_mm) {
  const double probes_a_voice = std::max(1.0, kProbesAVoice * density);
  constexpr double kPriorSd_mm = 20;   // only keeps directions without any structure solvable
  constexpr int kSteps = 15;
  constexpr double kFarthest_mm = 10;
  if (probes.size() < kLeastProbes) return {};
  Vec3 shift = rough_shift(probes, day, fit);
  Mat3 h = Mat3::Zero();
  double noise_hu = kLeastScaleHu;
  for (int step = 0; step < kSteps; ++step) {
    const ShiftRows rows = rows_at(probes, day, fit, shift);
    if (rows.errors.size() < kLeastProbes) return {};
    const double scale = rows.scale_hu;
    noise_hu = rows.noise_hu;
    h.setZero();
    Vec3 b = Vec3::Zero();
    for (std::size_t n = 0; n < rows.errors.size(); ++n) {
      const double e = rows.errors[n], w = 1 / (1 + e * e / (kCauchy * kCauchy * scale * scale));
      h += w * rows.slopes[n] * rows.slopes[n].transpose();
      b -= w * e * rows.slopes[n];
    }
    const Mat3 damped = h + Mat3::Identity() * scale * scale / (kPriorSd_mm * kPriorSd_mm);
    const Vec3 move = damped.ldlt().solve(b);
    shift += move;
    if (move.norm() < 1e-3) break;
  }
  if (shift.norm() > kFarthest_mm) return {};   // slid off to something else
  Shift answer;
  const Eigen::SelfAdjointEigenSolver<Mat3> axes(h);
  for (int n = 0; n < 3; ++n) {
    const double sd = noise_hu * std::sqrt(probes_a_voice / std::max(axes.eigenvalues()[n], 1e-12));
    if (sd > most_sd_mm) continue;
    const Vec3 axis = axes.eigenvectors().col(n);
    answer.mm += axis.dot(shift) * axis;
    answer.sd_mm = std::max(answer.sd_mm, sd);
    ++answer.determined;
  }
  return answer;
}

}  // namespace leastharm::registration_detail
