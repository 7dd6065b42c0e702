// Planning CT to day CT: against poses known exactly, closed forms, and draws.
#include "imaging/registration.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <random>

#include "imaging/error.h"
#include "support/test_body.h"

namespace leastharm {
namespace {

using test::grid_about;
using test::pose;
using test::Scan;
using test::scan_of;
using test::TestBody;
using testing::HasSubstr;

const std::vector<Vec3> kTips{{20, 12, 20}, {-22, 14, 10}, {5, 18, 60}, {0, -4, 165}};

/// The planning CT: oblique grid, unequal spacing, off the origin.
const RigidTransform kPlanned = pose({0.2, 1, 0.1}, 4, {13, -220, 610});
const Scan& planned() {
  static const Scan scan =
      scan_of({}, kPlanned, grid_about(kPlanned, {2.0, 2.2, 2.6}, pose({1, 2, 3}, 6, {0, 0, 0}).rotation), 20, 1);
  return scan;
}

RegistrationInput input_for(const Scan& day, int threads = 0) {
  std::vector<Vec3> tips;
  for (const Vec3& tip : kTips) tips.push_back(kPlanned.apply(tip));
  return {planned().hu, planned().materials, day.hu, tips, threads};
}

double worst_error_mm(const Registration& found, const RigidTransform& posed) {
  double worst = 0;
  for (const Vec3& tip : kTips)
    worst = std::max(worst, (found.day_from_planning.apply(kPlanned.apply(tip)) - posed.apply(tip)).norm());
  return worst;
}

std::string refusal(const RegistrationInput& input) {
  try {
    static_cast<void>(register_ct(input));
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return "";
}

TEST(Registration, OfABodyTurnedBySevenDegreesAndShiftedBy40MmIsWithin03MmAtEachTip) {
  const RigidTransform posed = pose({0.3, 1, 0.5}, 7, {53, -220, 600});
  const Scan day = scan_of({}, posed, grid_about(posed, {1.9, 1.9, 3.0}), 20, 2);
  const Registration found = register_ct(input_for(day));
  EXPECT_LT(worst_error_mm(found, posed), 0.3);
  EXPECT_GT(found.correlation, 0.98);
  EXPECT_NEAR(found.covered, 1, 1e-9);
  EXPECT_LT(found.surface.mean_mm, 0.5);
  EXPECT_LT(found.bone.mean_mm, 0.5);
  EXPECT_GT(found.bone.places, 500);
  EXPECT_LT(found.inner_shift_mm, 1);
  ASSERT_EQ(found.target_error_p95_mm.size(), kTips.size());
  for (const double error : found.target_error_p95_mm) {
    EXPECT_GT(error, 0.05);   // never claims to be exact
    EXPECT_LT(error, 1.5);
  }
}

TEST(Registration, FindsEveryPosture) {
  for (const auto& [axis, degrees] : std::vector<std::pair<Vec3, double>>{
           {{0, 0, 1}, 180}, {{0, 1, 0}, 173}, {{1, 0, 0}, 180}, {{0.02, 0.05, 1}, 90}}) {
    const RigidTransform posed = pose(axis, degrees, {-80, 35, 12});
    const Scan day = scan_of({}, posed, grid_about(posed, {2.4, 2.4, 2.4}), 20, 3);
    EXPECT_LT(worst_error_mm(register_ct(input_for(day)), posed), 0.4) << axis.transpose() << " by " << degrees;
  }
}

TEST(Registration, HoldsWhereTheDaysScanShowsOnlyThePartThatIsSampled) {
  const RigidTransform posed = pose({0, 1, 0}, 176, {0, 0, 100});
  Scan day = scan_of({}, posed, grid_about(posed, {2.4, 2.4, 2.4}), 20, 4);
  // The middle 45 % of the slices.
  Volume<std::int16_t>& hu = day.hu;
  const int first = hu.grid.size[2] * 35 / 100, count = hu.grid.size[2] * 45 / 100;
  const Grid whole = hu.grid;
  hu.grid.origin_lps_mm = whole.lps_from_index({0, 0, double(first)});
  hu.grid.size[2] = count;
  hu.values.erase(hu.values.begin(), hu.values.begin() + static_cast<std::ptrdiff_t>(whole.offset(0, 0, first)));
  hu.values.resize(hu.grid.voxel_count());
  const Registration found = register_ct(input_for(day));
  EXPECT_LT(worst_error_mm(found, posed), 0.5);
  EXPECT_LT(found.covered, 0.8);
}

TEST(Registration, SurvivesAnotherScannersReadings) {
  const RigidTransform posed = pose({1, 1, 1}, 5, {5, 5, 5});
  Scan day = scan_of({}, posed, grid_about(posed, {1.5, 1.5, 5}), 45, 5);
  for (std::int16_t& hu : day.hu.values) hu = static_cast<std::int16_t>(0.96 * hu + 30);
  const Registration found = register_ct(input_for(day));
  EXPECT_LT(worst_error_mm(found, posed), 0.5);
  EXPECT_LT(found.inner_shift_mm, 2);
}

TEST(Registration, IsTheSameForAnyNumberOfThreads) {
  const RigidTransform posed = pose({0, 0, 1}, 7, {40, 0, 0});
  const Scan day = scan_of({}, posed, grid_about(posed, {3, 3, 3}), 20, 6);
  const Registration one = register_ct(input_for(day, 1));
  for (const int threads : {2, 5}) {
    const Registration many = register_ct(input_for(day, threads));
    EXPECT_EQ(one.day_from_planning.rotation, many.day_from_planning.rotation);
    EXPECT_EQ(one.day_from_planning.translation_mm, many.day_from_planning.translation_mm);
    EXPECT_EQ(one.inner_shift_mm, many.inner_shift_mm);
    EXPECT_EQ(one.target_error_p95_mm, many.target_error_p95_mm);
  }
}

TEST(Registration, SaysHowFarTheInsideMovedAgainstTheOutside) {
  const RigidTransform posed = pose({0, 0, 1}, 3, {0, 10, 0});
  for (const Vec3& shift : {Vec3(5, 0, 0), Vec3(0, -3, 4)}) {
    const Scan day = scan_of({.inner_shift_mm = shift}, posed, grid_about(posed, {2, 2, 2.5}), 20, 7);
    const Registration found = register_ct(input_for(day));
    EXPECT_GT(found.inner_shift_mm, 2.5) << shift.transpose();
    EXPECT_LT(found.inner_shift_mm, 7) << shift.transpose();
    EXPECT_THAT(found.inner_shift_where, HasSubstr("inside"));
  }
}

TEST(Registration, RefusesAnotherObject) {
  const RigidTransform posed = pose({0, 0, 1}, 3, {0, 10, 0});
  EXPECT_THAT(refusal(input_for(scan_of({.stretch = 0.8}, posed, grid_about(posed, {2.4, 2.4, 2.4}), 20, 8))),
              HasSubstr("does not show the object"));
  Scan empty = scan_of({}, posed, grid_about(posed, {4, 4, 4}), 20, 9);
  std::ranges::fill(empty.hu.values, std::int16_t{-1000});
  EXPECT_THAT(refusal(input_for(empty)), HasSubstr("does not show the object"));
}

TEST(Registration, RefusesTheObjectWithOtherContents) {
  const RigidTransform posed = pose({0, 0, 1}, 3, {0, 10, 0});
  const auto refused = [&](const test::TestBody& body, unsigned seed) {
    return refusal(input_for(scan_of(body, posed, grid_about(posed, {2, 2, 2.5}), 20, seed)));
  };
  EXPECT_THAT(refused({.packing_hu = -1000}, 10), HasSubstr("altered"));      // emptied since it was planned
  EXPECT_THAT(refused({.packing_from_mm = -99}, 11), HasSubstr("altered"));   // filled to the top

  const Scan filled = scan_of({.packing_from_mm = -99}, posed, grid_about(posed, {2, 2, 2.5}), 20, 11);
  RegistrationInput input = input_for(filled);
  input.may_be_altered = true;   // for planning anew: told, and the motion is sound
  const Registration found = register_ct(input);
  EXPECT_GT(found.changed, 0.005);
  EXPECT_LT(worst_error_mm(found, posed), 0.5);
}

TEST(Registration, RefusesTheMirroredObject) {
  const RigidTransform posed = pose({0, 0, 1}, 3, {0, 10, 0});
  Scan day = scan_of({}, posed, grid_about(posed, {2.4, 2.4, 2.4}), 20, 11);
  const Grid& g = day.hu.grid;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j) {
      const auto row = day.hu.values.begin() + static_cast<std::ptrdiff_t>(g.offset(0, j, k));
      std::reverse(row, row + g.size[0]);
    }
  EXPECT_THAT(refusal(input_for(day)), HasSubstr("mirrored"));
}

TEST(Registration, NeedsAnObjectInTheMaterialMap) {
  const RigidTransform posed;
  const Scan day = scan_of({}, posed, grid_about(posed, {4, 4, 4}), 20, 12);
  Volume<std::uint8_t> nothing = planned().materials;
  std::ranges::fill(nothing.values, std::uint8_t{0});
  EXPECT_THAT(refusal({planned().hu, nothing, day.hu, {}, 0}), HasSubstr("no object"));
}

// ---- fiducials ----

const RigidTransform kDayPose = pose({0.3, 1, 0.5}, 7, {53, -220, 600});
const Scan& day_scan() {
  static const Scan scan = scan_of({}, kDayPose, grid_about(kDayPose, {2.2, 2.2, 2.8}), 20, 2);
  return scan;
}

/// Markers on the body, as both scans show them, each off by `error_mm` in the day's CT.
std::vector<FiducialPair> markers(double error_mm, unsigned seed) {
  std::mt19937 draw(seed);
  std::normal_distribution<double> normal(0, 1);
  std::vector<FiducialPair> pairs;
  for (const Vec3& p : {Vec3(60, -30, -100), Vec3(-60, -30, -90), Vec3(0, -55, 10), Vec3(50, -40, 90), Vec3(-30, 30, 130)})
    pairs.push_back({"F" + std::to_string(pairs.size() + 1), kPlanned.apply(p),
                     kDayPose.apply(p) + error_mm / std::sqrt(3.0) * Vec3(normal(draw), normal(draw), normal(draw))});
  return pairs;
}

std::string refusal(const std::vector<FiducialPair>& pairs) {
  try {
    static_cast<void>(register_fiducials(input_for(day_scan()), pairs));
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return "";
}

TEST(Fiducials, GiveTheExactMotionBack) {
  const Registration found = register_fiducials(input_for(day_scan()), markers(0, 1));
  EXPECT_LT(worst_error_mm(found, kDayPose), 1e-9);
  EXPECT_LT(found.fiducial_residual_mm, 1e-9);
  EXPECT_EQ(found.method, "5 fiducials");
  EXPECT_LT(found.surface.mean_mm, 0.6);
  EXPECT_LT(found.inner_shift_mm, 1);
}

TEST(Fiducials, ExpectedErrorHoldsInDraws) {
  // The true 95 % point over many draws of 3 mm markers, beside the mean of what each draw expects from its own residual.
  constexpr double kMarkerError_mm = 3;
  constexpr int kDraws = 400;
  Scan small = day_scan();   // HU play no part in the formula
  std::vector<double> errors;
  double expected = 0;
  const Vec3 tip = kPlanned.apply(kTips[1]);
  for (unsigned n = 0; n < kDraws; ++n) {
    const auto pairs = markers(kMarkerError_mm, 100 + n);
    Eigen::Matrix3Xd from(3, 5), to(3, 5);
    for (int f = 0; f < 5; ++f)
      from.col(f) = pairs[static_cast<std::size_t>(f)].planning_lps_mm, to.col(f) = pairs[static_cast<std::size_t>(f)].day_lps_mm;
    const Eigen::Matrix4d motion = Eigen::umeyama(from, to, false);
    errors.push_back((motion.topLeftCorner<3, 3>() * tip + motion.topRightCorner<3, 1>() - kDayPose.apply(kTips[1])).norm());
  }
  constexpr int kAsked = 3;   // each asks for a whole measurement on HU
  for (unsigned n = 0; n < kAsked; ++n)
    expected += register_fiducials(input_for(small), markers(kMarkerError_mm, 100 + n)).target_error_p95_mm[1] /
                register_fiducials(input_for(small), markers(kMarkerError_mm, 100 + n)).fiducial_residual_mm / kAsked;
  // Mean squared residual is (1 - 2/N) of the squared marker error (Fitzpatrick et al. 1998).
  expected *= kMarkerError_mm * std::sqrt(1 - 2.0 / 5);
  std::ranges::sort(errors);
  EXPECT_NEAR(expected / errors[kDraws * 95 / 100], 1, 0.1);
}

TEST(Fiducials, MirroredOnesAreRefused) {
  auto pairs = markers(0.3, 2);
  for (FiducialPair& p : pairs) p.day_lps_mm.x() = 2 * kDayPose.translation_mm.x() - p.day_lps_mm.x();
  EXPECT_THAT(refusal(pairs), HasSubstr("mirrored"));
}

TEST(Fiducials, APairOutOfPlaceIsNamed) {
  auto pairs = markers(0.3, 3);
  pairs[3].day_lps_mm += Vec3(0, -25, 20);
  EXPECT_THAT(refusal(pairs), HasSubstr("F4"));
}

TEST(Fiducials, TooFewOnOneLineTwiceNamedOrOutsideAreRefused) {
  auto pairs = markers(0, 4);
  EXPECT_THAT(refusal({pairs.begin(), pairs.begin() + 3}), HasSubstr("at least 4"));
  auto twice = pairs;
  twice[1].name = "F1";
  EXPECT_THAT(refusal(twice), HasSubstr("\"F1\" occurs twice"));
  auto far = pairs;
  far[2].day_lps_mm.z() += 4000;
  EXPECT_THAT(refusal(far), HasSubstr("outside the day's CT"));
  std::vector<FiducialPair> line;
  for (int n = 0; n < 4; ++n) {
    const Vec3 p(0, 0, -60 + 40 * n);
    line.push_back({"L" + std::to_string(n), kPlanned.apply(p), kDayPose.apply(p)});
  }
  EXPECT_THAT(refusal(line), HasSubstr("one line"));
}

TEST(Fiducials, ThatTurnTheBodyOverAreRefusedByWhatTheScansShow) {
  // Four markers in one plane, exchanged left for right: a perfect fit, with the body turned over.
  std::vector<FiducialPair> pairs;
  for (const Vec3& p : {Vec3(40, -30, -60), Vec3(-40, -30, -60), Vec3(40, -30, 60), Vec3(-40, -30, 60)})
    pairs.push_back({"P" + std::to_string(pairs.size()), kPlanned.apply(p), kDayPose.apply({-p.x(), p.y(), p.z()})});
  EXPECT_THAT(refusal(pairs), HasSubstr("do not show the same object in the same place"));
}

}  // namespace
}  // namespace leastharm
