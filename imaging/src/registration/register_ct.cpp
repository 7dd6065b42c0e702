#include <algorithm>
#include <cmath>
#include <numbers>

#include "fit.h"
#include "imaging/error.h"
#include "imaging/material.h"
#include "register_parts.h"
#include "start.h"

namespace leastharm {
namespace registration_detail {
namespace {

// Two scans of one object agree far better than this, two objects far worse (tests/imaging/registration_test.cpp).
constexpr double kSameObject = 0.9;
constexpr double kMostChanged = 0.005;
constexpr double kMirroredBetter = 1.15;   // times less that does not agree: noise makes a hundredth of that

double object_mm3(const Volume<std::uint8_t>& materials) {
  std::size_t count = 0;
  for (const std::uint8_t m : materials.values)
    count += m != static_cast<std::uint8_t>(Material::air) && m != static_cast<std::uint8_t>(Material::support);
  return static_cast<double>(count) * materials.grid.voxel_volume_mm3();
}

/// Reflected through x = 0 of the planning CT.
std::vector<Probe> mirrored(std::vector<Probe> probes) {
  for (Probe& p : probes) p.lps_mm.x() *= -1, p.slope.x() *= -1;
  return probes;
}

Level mirrored(const Level& level) {
  Level other = level;
  other.grid.origin_lps_mm.x() *= -1;
  other.grid.direction.row(0) *= -1;   // a left-handed grid: only its places are used
  return other;
}

struct Candidate {
  Fit fit;
  double rank = -1;
  Agreement agreement;   ///< on the finest level tried
};

/// The best motion on the second level, from all starts on the first.
Candidate search(const PlannedObject& first, const Level& first_day, const PlannedObject& second,
                 const Level& second_day, bool mirror, int threads) {
  constexpr std::size_t kFirstProbes = 4000, kSecondProbes = 15000;
  constexpr int kKept = 6;
  auto probes = probes_of(first.level, first.object, first.support, kFirstProbes);
  auto finer = probes_of(second.level, second.object, second.support, kSecondProbes);
  if (mirror) probes = mirrored(std::move(probes)), finer = mirrored(std::move(finer));
  const Reader reader(second_day);
  Candidate best;
  for (const Fit& start : starts_of(mirror ? mirrored(first.level) : first.level, first.object, first_day, probes,
                                    kKept, threads)) {
    const Fit fit = align(finer, reader, start, 6, threads);
    const double rank = rank_of(agreement_of(finer, reader, fit.motion));
    if (rank > best.rank) best = {fit, rank};
  }
  return best;
}

/// Refined down to about 3 mm, with how well HU agree there.
Candidate settled(const RegistrationInput& input, Candidate at, double first_mm, bool mirror) {
  constexpr double kFinest_mm = 3;
  for (double spacing = first_mm / 4;; spacing /= 2) {
    const double here = std::max(spacing, kFinest_mm);
    const PlannedObject planned = planned_object(input.planning_hu, input.planning_materials, here, input.threads);
    const Level day = make_level(input.day_hu, here, input.threads);
    auto probes = probes_of(planned.level, planned.object, planned.support, 30000);
    if (mirror) probes = mirrored(std::move(probes));
    const Reader reader(day);
    at.fit = align(probes, reader, at.fit, 6, input.threads);
    at.agreement = agreement_of(probes, reader, at.fit.motion);
    if (spacing <= kFinest_mm) return at;
  }
}

bool fits_better_mirrored(const Agreement& mirrored, const Agreement& found) {
  return mirrored.covered > 0.8 * found.covered && kMirroredBetter * (1 - mirrored.correlation) < 1 - found.correlation;
}

void check_same_object(const Registration& answer, bool may_be_altered) {
  if (answer.correlation < kSameObject)
    throw BadInput("the day's CT does not show the object of this case: at best their HU go together by " +
                   std::to_string(answer.correlation).substr(0, 4) +
                   " (the same object: above 0.90). Check that the right series was named");
  if (!may_be_altered && answer.changed > kMostChanged)
    throw BadInput("the day's CT shows another object, or one that was altered since it was planned: " +
                   std::to_string(100 * answer.changed).substr(0, 4) +
                   " % of its inside hold other materials now. Check the series; plan anew on this CT if it is right");
}

}  // namespace

Levels::Levels(const RegistrationInput& input)
    : spacing_mm(std::clamp(
          std::max(input.planning_hu.grid.spacing_mm.minCoeff(), input.day_hu.grid.spacing_mm.minCoeff()), 1.0, 3.0)),
      planned(planned_object(input.planning_hu, input.planning_materials, spacing_mm, input.threads)),
      day(make_level(input.day_hu, spacing_mm, input.threads)) {}

void measure_fit(const RegistrationInput& input, const Levels& levels, const Fit& fit, Registration& answer) {
  answer.day_from_planning = fit.motion;
  answer.gain = fit.gain;
  answer.offset_hu = fit.offset_hu;
  const PlannedObject middle = planned_object(input.planning_hu, input.planning_materials, 3, input.threads);
  const Level middle_day = make_level(input.day_hu, 3, input.threads);
  const Agreement agreement =
      agreement_of(probes_of(middle.level, middle.object, middle.support, 50000), Reader(middle_day), fit.motion);
  answer.correlation = agreement.correlation;
  answer.covered = agreement.covered;
  answer.changed = changed_fraction(planned_object(input.planning_hu, input.planning_materials, 8, input.threads),
                                    make_level(input.day_hu, 8, input.threads), fit);
  measure_distances(levels.planned, levels.day, fit, input.threads, answer);
  measure_inside(levels.planned, levels.day, fit, input.targets_lps_mm, input.threads, answer);
}

}  // namespace registration_detail

double rotation_angle_deg(const RigidTransform& transform) {
  return Eigen::AngleAxisd(transform.rotation).angle() * 180 / std::numbers::pi;
}

Registration register_ct(const RegistrationInput& input) {
  using namespace registration_detail;
  const double volume_mm3 = object_mm3(input.planning_materials);
  if (volume_mm3 <= 0) throw BadInput("the case's material map holds no object to register");
  // Some thousands of blocks on the object see its whole shape, and little else.
  const double first_mm = std::clamp(std::cbrt(volume_mm3 / 6000), 3.0, 24.0);
  const int threads = input.threads;
  const Level first_day = make_level(input.day_hu, first_mm, threads);
  const Level second_day = make_level(input.day_hu, first_mm / 2, threads);
  const PlannedObject first = planned_object(input.planning_hu, input.planning_materials, first_mm, threads);
  const PlannedObject second = planned_object(input.planning_hu, input.planning_materials, first_mm / 2, threads);
  const Candidate found = settled(input, search(first, first_day, second, second_day, false, threads), first_mm, false);
  const Candidate mirror = settled(input, search(first, first_day, second, second_day, true, threads), first_mm, true);
  if (fits_better_mirrored(mirror.agreement, found.agreement))
    throw BadInput("the day's CT shows the object mirrored: left and right were exchanged on the way here. Fetch the "
                   "series again from the scanner");

  Fit fit = found.fit;
  const Levels levels(input);
  const auto probes = probes_of(levels.planned.level, levels.planned.object, levels.planned.support, 60000);
  fit = align(probes, Reader(levels.day), fit, 8, threads);

  Registration answer;
  answer.method = "surface and bone";
  measure_fit(input, levels, fit, answer);
  check_same_object(answer, input.may_be_altered);
  answer.target_error_p95_mm = errors_at(input.targets_lps_mm, levels.planned, levels.day, fit, threads);
  return answer;
}

}  // namespace leastharm
