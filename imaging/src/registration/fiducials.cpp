#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <set>
#include <sstream>

#include "fit.h"
#include "imaging/error.h"
#include "register_parts.h"

namespace leastharm {
namespace {

using registration_detail::Fit;

constexpr double kSameObjectByFiducials = 0.7;   // a motion some mm off lowers this; another object or posture far more

std::string mm(double value) {
  std::ostringstream text;
  text.precision(value < 10 ? 2 : 3);
  text << value << " mm";
  return text.str();
}

void check_pairs(const RegistrationInput& input, const std::vector<FiducialPair>& pairs) {
  if (pairs.size() < 4)
    throw BadInput("fiducials: " + std::to_string(pairs.size()) + " given, at least 4 are needed");
  std::set<std::string> names;
  for (const FiducialPair& p : pairs) {
    if (!names.insert(p.name).second) throw BadInput("fiducials: the name \"" + p.name + "\" occurs twice");
    const auto check = [&](const Grid& grid, const Vec3& at, const char* which) {
      if (!at.allFinite() || !grid.contains(grid.voxel_at(at)))
        throw BadInput("fiducial \"" + p.name + "\" lies outside the " + which + " CT: give it in that CT's own LPS mm");
    };
    check(input.planning_hu.grid, p.planning_lps_mm, "planning");
    check(input.day_hu.grid, p.day_lps_mm, "day's");
  }
}

struct Spread {
  Vec3 middle{0, 0, 0};
  Mat3 axes = Mat3::Identity();
  Vec3 variance{0, 0, 0};   // along each axis, growing
};

Spread spread_of(const std::vector<FiducialPair>& pairs) {
  Spread s;
  const double n = static_cast<double>(pairs.size());
  for (const FiducialPair& p : pairs) s.middle += p.planning_lps_mm / n;
  Mat3 second = Mat3::Zero();
  for (const FiducialPair& p : pairs) {
    const Vec3 d = p.planning_lps_mm - s.middle;
    second += d * d.transpose() / n;
  }
  const Eigen::SelfAdjointEigenSolver<Mat3> axes(second);
  s.axes = axes.eigenvectors();
  s.variance = axes.eigenvalues().cwiseMax(0);
  return s;
}

double residual_mm(const std::vector<FiducialPair>& pairs, const Mat3& rotation, const Vec3& translation) {
  double sum = 0;
  for (const FiducialPair& p : pairs) sum += (rotation * p.planning_lps_mm + translation - p.day_lps_mm).squaredNorm();
  return std::sqrt(sum / static_cast<double>(pairs.size()));
}

RigidTransform best_motion(const std::vector<FiducialPair>& pairs) {
  Eigen::Matrix3Xd from(3, pairs.size()), to(3, pairs.size());
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    from.col(static_cast<Eigen::Index>(n)) = pairs[n].planning_lps_mm;
    to.col(static_cast<Eigen::Index>(n)) = pairs[n].day_lps_mm;
  }
  const Eigen::Matrix4d motion = Eigen::umeyama(from, to, false);
  return {motion.topLeftCorner<3, 3>(), motion.topRightCorner<3, 1>()};
}

/// Residual of the best orthogonal map that mirrors.
double mirrored_residual_mm(const std::vector<FiducialPair>& pairs) {
  std::vector<FiducialPair> turned = pairs;
  for (FiducialPair& p : turned) p.planning_lps_mm.x() *= -1;
  const RigidTransform motion = best_motion(turned);
  return residual_mm(turned, motion.rotation, motion.translation_mm);
}

double residual_of(const std::vector<FiducialPair>& pairs) {
  const RigidTransform motion = best_motion(pairs);
  return residual_mm(pairs, motion.rotation, motion.translation_mm);
}

/// Names the pair without which the rest fits best.
[[noreturn]] void refuse_misfit(const std::vector<FiducialPair>& pairs, double residual) {
  std::string worst;
  double least = residual;
  for (std::size_t n = 0; n < pairs.size(); ++n) {
    std::vector<FiducialPair> rest = pairs;
    rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(n));
    if (const double r = residual_of(rest); r < least) least = r, worst = pairs[n].name;
  }
  throw BadInput("fiducials do not fit a rigid body: residual " + mm(residual) + "; without \"" + worst + "\" it is " +
                 mm(least) + ": check that pair's places, or whether two names were exchanged");
}

void check_fit(const std::vector<FiducialPair>& pairs, double residual) {
  constexpr double kLeastWidth_mm = 10, kMostResidual_mm = 10, kMirroredBy_mm = 2;
  if (2 * std::sqrt(spread_of(pairs).variance[1]) < kLeastWidth_mm)
    throw BadInput("the fiducials lie too nearly on one line to fix a rotation about it: spread them over the object");
  const double mirrored = mirrored_residual_mm(pairs);
  if (residual > 2 * mirrored + kMirroredBy_mm)
    throw BadInput("the fiducials fit only mirrored (" + mm(residual) + " as given, " + mm(mirrored) +
                   " mirrored): left and right were exchanged in one of the two lists");
  if (residual > kMostResidual_mm) refuse_misfit(pairs, residual);
}

/// Root mean square localisation error of one fiducial, from the residual; never less than its voxel allows.
double localisation_mm(const RegistrationInput& input, std::size_t count, double residual) {
  const double n = static_cast<double>(count);
  const double from_voxels = std::sqrt((input.planning_hu.grid.spacing_mm.squaredNorm() +
                                        input.day_hu.grid.spacing_mm.squaredNorm()) / 12);
  return std::max(residual * std::sqrt(n / (n - 2)), from_voxels);
}

/// Fitzpatrick, West and Maurer 1998, eq. 46: the expected squared error at a target.
double target_error_p95(const Spread& s, std::size_t count, double localisation, const Vec3& target) {
  constexpr double k95OverRms = 1.614;   // three axes alike: root of (95 % point of chi-square 3) / 3
  const Vec3 d = s.axes.transpose() * (target - s.middle);
  double sum = 0;
  for (int k = 0; k < 3; ++k) {
    const double from_axis = d.squaredNorm() - d[k] * d[k];
    const double of_fiducials = s.variance.sum() - s.variance[k];
    sum += from_axis / of_fiducials;
  }
  return k95OverRms * localisation * std::sqrt((1 + sum / 3) / static_cast<double>(count));
}

}  // namespace

Registration register_fiducials(const RegistrationInput& input, const std::vector<FiducialPair>& pairs) {
  check_pairs(input, pairs);
  const RigidTransform motion = best_motion(pairs);
  const double residual = residual_mm(pairs, motion.rotation, motion.translation_mm);
  check_fit(pairs, residual);

  Registration answer;
  answer.method = std::to_string(pairs.size()) + " fiducials";
  answer.fiducial_residual_mm = residual;
  const registration_detail::Levels levels(input);
  measure_fit(input, levels, Fit{.motion = motion}, answer);
  if (answer.correlation < kSameObjectByFiducials)
    throw BadInput("under these fiducials the two CTs do not show the same object in the same place (HU go together by " +
                   std::to_string(answer.correlation).substr(0, 4) + "): check the series, and the fiducials' names");
  const Spread spread = spread_of(pairs);
  const double localisation = localisation_mm(input, pairs.size(), residual);
  for (const Vec3& target : input.targets_lps_mm)
    answer.target_error_p95_mm.push_back(target_error_p95(spread, pairs.size(), localisation, target));
  return answer;
}

}  // namespace leastharm
