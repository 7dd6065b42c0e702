// Sets of tracks on an invented trunk, each rule checked here by its own geometry: nothing of the planner's is used to judge.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/density.h"
#include "planner/propose.h"
#include "support/shape_world.h"

namespace leastharm {
namespace {

using testing::HasSubstr;

/// HU of cellulose at a bulk density: its (mu/rho) over water's is 0.940 at 68 keV (from xraylib; see density_test).
std::int16_t packing_hu(double g_per_cm3, double energy_kev) {
  const double at_zero = density_g_per_cm3(0, Material::packing, energy_kev);
  return static_cast<std::int16_t>(std::lround(1000 * (g_per_cm3 / at_zero - 1)));
}

/// A wrapped trunk with a packing column on either side: a closed elliptic cylinder without any noise.
struct Trunk {
  test::ShapeWorld world;
  Body body;
  RequestFile file;

  explicit Trunk(double g_per_cm3 = 0.25) {
    Grid grid;
    grid.size = {76, 60, 60};
    grid.spacing_mm = {2.5, 2.5, 3};
    grid.origin_lps_mm = {-93.75, -73.75, 100};
    PerMaterial<std::int16_t> hu = test::kUsualHu;
    hu[static_cast<std::size_t>(Material::packing)] = packing_hu(g_per_cm3, ScanQuality{}.effective_energy_kev);
    world = test::make_world(grid, {}, [](const Vec3& p) {
      if (std::abs(p.z() - 188) > 80) return Material::air;
      const auto ellipse = [&](double x, double a, double b) { return x * x / a / a + p.y() * p.y() / b / b; };
      if (ellipse(std::abs(p.x()) - 30, 24, 34) < 1 && std::abs(p.z() - 188) < 70) return Material::packing;
      if (ellipse(p.x(), 64, 44) < 1) return Material::body;
      return ellipse(p.x(), 72, 52) < 1 ? Material::wrapping : Material::air;
    }, hu);
    world.frame = BodyFrame{{0, 0, 1}, {0, -1, 0}, {{0, 0, 80}, {0, 0, 300}}, 1};
    world.scan = {.noise_hu = 1, .offset_sd_hu = 1};
    Request request;
    request.id = "P";
    request.material = Material::packing;
    request.assays = {{"GC-MS", 10}};
    request.replicates = 5;
    request.sides = Sides::both;
    file.requests = {request};
    file.needles = {test::sure_needle()};
    file.placement = {1.5, 1, 0};
    file.time_s = 2;   // the choice, not its bound, is what is asked for
    body = world.body();
  }
};

struct Segment {
  Vec3 from, to;
};
Segment core_of(const Track& t) {
  const Vec3 axis = (t.tip_lps_mm - t.entry_lps_mm).normalized();
  return {t.tip_lps_mm - t.needle.throw_mm * axis, t.tip_lps_mm};
}
Segment steel_of(const Track& t) { return {t.entry_lps_mm, t.tip_lps_mm}; }

/// By walking both segments: at most a step too large.
double apart_mm(const Segment& a, const Segment& b) {
  double least = 1e9;
  for (int n = 0; n <= 200; ++n) {
    const Vec3 p = a.from + n / 200.0 * (a.to - a.from), d = b.to - b.from;
    const double t = std::clamp((p - b.from).dot(d) / d.squaredNorm(), 0.0, 1.0);
    least = std::min(least, (p - b.from - t * d).norm());
  }
  return least;
}

TEST(Programme, OfFiveReplicatesOnBothSidesKeepsEveryRule) {
  const Trunk trunk;
  const Proposal proposal = propose(trunk.body, trunk.file);
  ASSERT_TRUE(proposal.feasible);
  const auto& tracks = proposal.assessment.tracks;
  ASSERT_EQ(tracks.size(), 5u);
  int left = 0, right = 0;
  for (const TrackAssessment& a : tracks) {
    EXPECT_TRUE(a.admissible) << (a.findings.empty() ? "" : a.findings[0].what);
    const Segment core = core_of(a.track);
    const double low = std::min(core.from.x(), core.to.x()), high = std::max(core.from.x(), core.to.x());
    const double rim = a.track.needle.bore_mm / 2 * std::sqrt(1 - std::pow((core.to - core.from).normalized().x(), 2));
    // All of the core at least 3 mm from the midline, which stands at x = 0; left is +x.
    EXPECT_TRUE(low - rim >= 3 - 1e-6 || high + rim <= -3 + 1e-6) << low << " " << high;
    (low > 0 ? left : right) += 1;
    EXPECT_EQ(a.side, low > 0 ? "left" : "right");
    EXPECT_NEAR(a.core.mass_mg, a.core.requested_mm3 * 0.25 * 0.7, 0.5);   // g/cm3, recovered share
  }
  EXPECT_LE(std::abs(left - right), 1);
  for (std::size_t i = 0; i < tracks.size(); ++i)
    for (std::size_t j = 0; j < tracks.size(); ++j) {
      if (i == j) continue;
      const Track &a = tracks[i].track, &b = tracks[j].track;
      EXPECT_GE(apart_mm(core_of(a), core_of(b)), 15 - 0.01);
      EXPECT_GE(apart_mm(core_of(a), steel_of(b)), (a.needle.bore_mm + b.needle.outer_mm) / 2 - 0.01);
      const double holes = (a.entry_lps_mm - b.entry_lps_mm).norm();
      const double turn = std::acos(std::clamp((a.tip_lps_mm - a.entry_lps_mm).normalized().dot((b.tip_lps_mm - b.entry_lps_mm).normalized()), -1.0, 1.0));
      const bool one_hole = holes < a.needle.outer_mm && turn <= 20.01 * std::numbers::pi / 180;
      EXPECT_TRUE(one_hole || holes >= 20 - 1e-6) << a.id << " and " << b.id << ": " << holes << " mm";
    }
  // Sampling order: cleanest first.
  for (std::size_t n = 1; n < tracks.size(); ++n)
    EXPECT_LE(std::round(100 * tracks[n - 1].core.foreign_fraction), std::round(100 * tracks[n].core.foreign_fraction));
}

TEST(Programme, OfTwentyMilligramsIsProvenToAskTooMuch) {
  Trunk trunk;
  trunk.file.requests[0].assays = {{"GC-MS", 20}};
  const Proposal proposal = propose(trunk.body, trunk.file);
  ASSERT_FALSE(proposal.feasible);
  EXPECT_TRUE(proposal.proven);   // 15.8 mg is all that the bore can bring
  ASSERT_FALSE(proposal.blocking.empty());
  const Blocking& mass = proposal.blocking[0];
  EXPECT_EQ(mass.constraint, "mass");
  EXPECT_EQ(mass.needed, 20);
  EXPECT_NEAR(mass.best_found, 15.8, 0.3);
  // With a chance of 90 % such a core yields 14.3 mg: cellulose is known to 5 %, and exp(-1.28 x 0.05) x 15.8 = 14.8 before
  // placement. 20 / 14.3 of the throw is 28 mm, and 3 % to spare make 29; the root of it of the bore is 2.9 mm.
  EXPECT_THAT(mass.remedy, HasSubstr("smallest remedy"));
  EXPECT_THAT(mass.remedy, HasSubstr("a throw of 29 mm in place of 20 mm"));
  EXPECT_THAT(mass.remedy, HasSubstr("a bore of 2.9 mm in place of 2.4 mm"));
  EXPECT_THAT(mass.remedy, HasSubstr("2 pooled cores for one"));
  EXPECT_THAT(mass.remedy, HasSubstr("a need of at most 14.3 mg"));
}

TEST(Programme, WithTheRemedyIsFeasible) {
  Trunk trunk;
  trunk.file.requests[0].assays = {{"GC-MS", 20}};
  trunk.file.requests[0].replicates = 1;
  trunk.file.requests[0].sides = Sides::any;
  trunk.file.needles[0].throw_mm = 29;
  EXPECT_TRUE(propose(trunk.body, trunk.file).feasible);
}

TEST(Programme, ThatCannotStandTogetherSaysHowManyCan) {
  Trunk trunk;
  trunk.file.requests[0].replicates = 9;
  trunk.file.limits.hole_spacing_mm = 100;
  trunk.file.requests[0].spacing_mm = 40;
  const Proposal proposal = propose(trunk.body, trunk.file);
  ASSERT_FALSE(proposal.feasible);
  EXPECT_FALSE(proposal.proven);
  ASSERT_EQ(proposal.blocking.size(), 1u);
  EXPECT_EQ(proposal.blocking[0].constraint, "replicates");
  EXPECT_EQ(proposal.blocking[0].needed, 9);
  EXPECT_LT(proposal.blocking[0].best_found, 9);
  EXPECT_GT(proposal.blocking[0].best_found, 0);
}

TEST(Programme, ThroughAnOpeningPaysForWhatLiesBehindIt) {
  Trunk trunk;
  trunk.world.marks = {test::mark_where(trunk.world, {}, MarkKind::opening, "flank", [](const Vec3& p) {
    return (p - Vec3(30, -46, 190)).norm() < 14;   // over the packing's thinnest wall
  })};
  trunk.body = trunk.world.body();
  trunk.file.requests[0].replicates = 1;
  trunk.file.requests[0].sides = Sides::any;
  const Proposal proposal = propose(trunk.body, trunk.file);
  ASSERT_TRUE(proposal.feasible);
  const TrackAssessment& a = proposal.assessment.tracks[0];
  EXPECT_TRUE(a.through_opening);
  EXPECT_EQ(proposal.assessment.programme.holes, 0);
  double materials = 0, parts = 0;
  for (std::size_t m = 0; m < kMaterialCount; ++m) materials += trunk.file.weights.material[m] * a.swept_mm3[m];
  for (const auto& [name, value] : a.damage.parts) parts += value;
  EXPECT_GT(a.swept_mm3[static_cast<std::size_t>(Material::body)], 0);
  EXPECT_NEAR(parts, materials, 1e-9 * materials);   // no part for a hole, all of the material
}

}  // namespace
}  // namespace leastharm
