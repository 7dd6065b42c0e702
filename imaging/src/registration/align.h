#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "imaging/registration.h"
#include "pyramid.h"

namespace leastharm::registration_detail {

/// A place of the planned object, with what the planning CT reads there.
struct Probe {
  Vec3 lps_mm{0, 0, 0};
  double hu = 0;
  Vec3 slope{0, 0, 0};   ///< HU/mm
};

/// Places in and just around the object where HU change by `least_step_hu` a voxel, at most `most`, spread by a hash of the
/// voxel's index. Places on the support are left out. `object` and `support` are shares of 255 on the level's grid.
[[nodiscard]] std::vector<Probe> probes_of(const Level& level, const std::vector<std::uint8_t>& object,
                                           const std::vector<std::uint8_t>& support, std::size_t most,
                                           double least_step_hu = 12);

/// How well HU agree under a motion.
struct Agreement {
  double correlation = 0;   ///< over the probes that the day's CT shows
  double covered = 0;       ///< fraction of probes that it shows
};
[[nodiscard]] Agreement agreement_of(std::span<const Probe> probes, const Reader& day, const RigidTransform& motion);

/// A motion under way: day HU = gain planning HU + offset, about.
struct Fit {
  RigidTransform motion;
  double gain = 1, offset_hu = 0;
};

/// Robust least squares (Cauchy weights, the scale from the median residual) by Levenberg and Marquardt over motion, gain
/// and offset, with slopes of both scans averaged (Benhimane and Malis 2004: second-order convergence). Sums run over
/// fixed chunks in fixed order: the answer does not depend on the number of threads. With `prior_sd_mm`, the motion stays
/// at the start along directions that the probes say nothing about (a smooth shell turned about its axis).
[[nodiscard]] Fit align(std::span<const Probe> probes, const Reader& day, const Fit& start, int rounds, int threads,
                        double prior_sd_mm = 0);

/// How far some probes lie off under a fit: shift of the day's scan against it, in the planning CT's directions.
struct Shift {
  Vec3 mm{0, 0, 0};      ///< along directions that the probes determine; 0 along the others
  int determined = 0;    ///< number of such directions, 0 to 3
  double sd_mm = 0;      ///< standard error along the worst of them
};
/// Directions count as determined where the standard error is below `most_sd_mm`.
/// Looks up to about 10 mm around. `density`: the fraction of all probes there that `probes` are.
[[nodiscard]] Shift shift_of(std::span<const Probe> probes, double density, const Reader& day, const Fit& fit,
                             double most_sd_mm);

}  // namespace leastharm::registration_detail
