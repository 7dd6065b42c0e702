// The bound under a plan: no track found by any means may lie below it, neither below the whole bound nor below that of any
// single cell which holds it.
#include "certify.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "candidates.h"
#include "planner/crossing.h"
#include "planner/cylinder.h"
#include "planner/entry.h"
#include "support/drawn_back.h"
#include "support/made_world.h"

namespace leastharm {
namespace {

enum class Kind { plain, opening, wide_needle, dead_tip, slit };

/// Height of the slit that runs along the right flank, as wide as two voxels: 4 mm.
constexpr double kSlitY_mm = 6;

void cut_slit(test::MadeBody& made) {
  const Grid& grid = made.hu.grid;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const Vec3 p = grid.lps_from_index({double(i), double(j), double(k)});
        const std::size_t n = grid.offset(i, j, k);
        if (p.x() > -50 || std::abs(p.y() - kSlitY_mm) > 2) continue;
        made.materials.values[n] = static_cast<std::uint8_t>(Material::air);
        made.hu.values[n] = -1000;
      }
}

struct World : test::MadeWorld {
  std::unique_ptr<Assessor> assessor;
  std::unique_ptr<SearchScene> scene;
  std::unique_ptr<SweepGrounds> grounds;

  explicit World(Kind kind) {
    file.requests = {test::packing_request(kind == Kind::wide_needle ? 12 : 5)};
    if (kind == Kind::slit) cut_slit(made), body.hu = made.hu.values, body.materials = made.materials.values;
    if (kind == Kind::opening) body.marks.push_back({"flank", MarkKind::opening, 0, false, ball_mask(body.grid, {-72, 0, 330}, 16)});
    if (kind == Kind::wide_needle) file.needles = {{.name = "wide", .outer_mm = 4.2, .bore_mm = 3.4, .throw_mm = 20, .usable_mm = 120}};
    if (kind == Kind::dead_tip) file.needles[0].dead_tip_mm = 5;
    assessor = std::make_unique<Assessor>(body, file);
    scene = std::make_unique<SearchScene>(body, file);
    grounds = std::make_unique<SweepGrounds>(*scene);
  }
};

/// Routes along random lines, somewhat deeper than where the median is enough: most are sure enough.
std::vector<Route> random_routes(const World& world, std::size_t count, std::uint32_t seed) {
  const SearchScene& scene = *world.scene;
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> even(0, 1);
  const RouteLimits limits(world.file.limits);
  std::vector<Route> routes;
  while (routes.size() < count) {
    const EntryVoxel& entry = scene.entries()[static_cast<std::size_t>(even(random) * static_cast<double>(scene.entries().size()))];
    const double tilt = (even(random) - 0.5) * 2 * world.file.limits.tilt_deg * std::numbers::pi / 180, turn = even(random) * 2 * std::numbers::pi;
    const Vec3 direction(std::cos(tilt) * std::cos(turn), std::cos(tilt) * std::sin(turn), std::sin(tilt));
    if (-direction.dot(entry.outward) < std::numbers::sqrt2 / 2) continue;
    Route route = shallowest_route(scene, 0, limits, entry.point, entry.outward, direction);
    if (!std::isfinite(route.score)) continue;
    route.depth_mm += 12 * even(random);
    routes.push_back(route);
  }
  return routes;
}

/// Those that keep every limit, drawn back as far as these allow: the dearest ones would say little.
std::vector<TrackAssessment> admissible(const World& world, const std::vector<Route>& routes) {
  std::vector<TrackAssessment> kept;
  for (const Route& route : routes) {
    TrackAssessment a = assessed(*world.scene, *world.assessor, route, true).assessment;
    if (a.admissible) kept.push_back(test::drawn_back(*world.assessor, std::move(a)));
  }
  return kept;
}

/// At the tip of a track, along the track alone.
double bounding_chance(const World& world, const Track& track, double step_mm) {
  const Vec3 tip = world.scene->in_box(world.scene->frame().point(track.tip_lps_mm)), d = world.scene->frame().direction(axis_of(track));
  const double tilt = std::asin(d.z()), turn = std::atan2(d.y(), d.x());
  const Sheaf sheaf(tilt - 1e-5, tilt + 1e-5, turn - 1e-5, turn + 1e-5);
  const TipChances chances = tip_chances(*world.scene, world.scene->asks()[0], sheaf, {tip - Vec3::Constant(1), 2, {1, 1, 1}}, step_mm, 0.7);
  float chance = 0;
  chances.at_row(tip, 1, {&chance, 1});
  return static_cast<double>(chance);
}

/// How finely a cell is looked at: slope of its sheaf, step of its lattice, edge of its cube of tips.
struct CellSize {
  double slope, step_mm, cube_mm;
};

/// The bound of a cell that lies anyhow about a track of this direction and tip.
double bound_about(const World& world, const SheafBound& bounds, const Track& track, const CellSize& size, std::mt19937& random) {
  std::uniform_real_distribution<double> even(0, 1);
  const Needle& needle = world.file.needles[0];
  const double area = std::numbers::pi / 4 * needle.outer_mm * needle.outer_mm, hole = world.file.weights.hole_mm;
  const Vec3 tip = world.scene->in_box(world.scene->frame().point(track.tip_lps_mm)), d = world.scene->frame().direction(axis_of(track));
  const double tilt = std::asin(d.z()), turn = std::atan2(d.y(), d.x()), u = even(random), v = even(random);
  const Sheaf sheaf(tilt - 2 * u * size.slope, tilt + 2 * (1 - u) * size.slope, turn - 2 * v * size.slope, turn + 2 * (1 - v) * size.slope);
  const Vec3 off = Vec3::Constant(0.75) + (size.cube_mm - 1.5) * Vec3(even(random), even(random), even(random));
  double points = 0;
  const SheafCost cost = bounds.bound(sheaf, {tip - off, size.cube_mm, {1, 1, 1}}, size.step_mm, 1e6, {0}, points).front().front();
  return area / 1.01 * std::min(cost.plain_mm + hole, cost.opening_mm);
}

class Certificate : public testing::TestWithParam<Kind> {};

// What the bound allows for the chance of enough (SheafBound: 0.004, and 0.045 for each mm of step beyond 0.8) is not too little.
TEST_P(Certificate, ChancesAreNotUnderrated) {
  const World world(GetParam());
  std::size_t compared = 0;
  for (const Route& route : random_routes(world, 80, 11)) {
    const TrackAssessment a = world.assessor->assess_track(track_of(*world.scene, route));
    const double chance = a.core.p_enough.value_or(0);
    if (chance < 0.8) continue;
    ++compared;
    for (const double step_mm : {0.8, 1.4, 2.4, 4.0})
      EXPECT_GE(bounding_chance(world, a.track, step_mm), chance - 0.004 - 0.045 * (step_mm - 0.8)) << step_mm;
  }
  EXPECT_GT(compared, 10u);
}

TEST_P(Certificate, HoldsInEveryCellThatHoldsATrack) {
  const World world(GetParam());
  const SheafBound bounds(world.grounds->of(0));
  const std::vector<TrackAssessment> tracks = admissible(world, random_routes(world, 36, 7));
  ASSERT_GT(tracks.size(), 10u);
  std::mt19937 random(3);
  double nearest = 0;
  for (const TrackAssessment& a : tracks)
    for (const CellSize& size : {CellSize{0.14, 3.0, 36.0}, {0.07, 1.5, 18.0}, {0.07, 1.0, 18.0}, {0.035, 0.7, 12.0}, {0.018, 0.5, 9.0}, {0.004, 0.25, 4.5}}) {
      const double least = bound_about(world, bounds, a.track, size, random);
      EXPECT_LE(least, a.damage.score) << "slope " << size.slope << " depth " << a.path_length_mm << " p " << a.core.p_enough.value_or(0);
      nearest = std::max(nearest, least / a.damage.score);
    }
  EXPECT_GT(nearest, 0.85);   // it is no bound of nothing
  RecordProperty("nearest", std::to_string(nearest));
}

TEST_P(Certificate, NoRandomTrackLiesBelowIt) {
  const World world(GetParam());
  Certification task;
  task.request = &world.file.requests[0];
  double best = 1e9;
  task.offer = [&](const Route& route) -> std::optional<double> {
    const Assessed a = assessed(*world.scene, *world.assessor, route, true);
    if (!a.assessment.admissible) return std::nullopt;
    best = std::min(best, a.candidate.score);
    return a.candidate.score;
  };
  for (const TrackAssessment& a : admissible(world, random_routes(world, 20, 1))) best = std::min(best, a.damage.score);
  task.sides = {{0, best}};
  const SideBound bound = certify(*world.grounds, task, GetParam() == Kind::opening ? 6e8 : 3e8);
  EXPECT_GT(bound.lower_bound, 0);
  EXPECT_LE(bound.lower_bound, best);
  // Only those whose quick score comes near are worth their full figures.
  std::vector<Route> near;
  for (const Route& route : random_routes(world, 8000, 5))
    if (route.score < 1.1 * bound.lower_bound) near.push_back(route);
  for (const TrackAssessment& a : admissible(world, near)) EXPECT_GE(a.damage.score, bound.lower_bound);
  RecordProperty("gap", std::to_string(1 - bound.lower_bound / best));
}

// A needle just fits through the slit: a coarse lattice's points, millimetres away, see the flank on both sides of it.
TEST(CertificateOfASlit, IsNoHigherThanTheTrackThroughIt) {
  const World world(Kind::slit);
  Route route;
  route.direction = Vec3::UnitX();
  route.entry = world.scene->frame().point({-49, kSlitY_mm, 290});
  route.depth_mm = 30;
  const Assessed through = assessed(*world.scene, *world.assessor, route, true);
  ASSERT_TRUE(through.assessment.admissible) << through.assessment.findings.front().what;
  ASSERT_EQ(through.assessment.swept_mm3[static_cast<std::size_t>(Material::body)], 0);
  const SheafBound bounds(world.grounds->of(0));
  std::mt19937 random(4);
  for (int n = 0; n < 12; ++n)
    for (const CellSize& size : {CellSize{0.14, 3.0, 36.0}, {0.07, 3.0, 36.0}, {0.07, 2.0, 18.0}, {0.018, 1.5, 18.0}, {0.018, 1.0, 9.0}, {0.009, 0.5, 9.0}})
      EXPECT_LE(bound_about(world, bounds, through.candidate.track, size, random), through.assessment.damage.score) << "slope " << size.slope << " step " << size.step_mm;
}

// Several tracks may share a hole: what each scores without it must not hold any of it, neither in cells that were left out.
TEST_P(Certificate, WithoutTheHoleHoldsNoHole) {
  const World world(GetParam());
  Certification task;
  task.request = &world.file.requests[0];
  double best = 1e9;
  for (const TrackAssessment& a : admissible(world, random_routes(world, 20, 1))) best = std::min(best, a.damage.score);
  task.sides = {{0, best}};
  task.gap = 0.8;   // soon reached: nearly all cells are left out
  const SideBound bound = certify(*world.grounds, task, 1e8);
  const double outer = world.file.needles[0].outer_mm, hole = world.file.weights.hole_mm * std::numbers::pi / 4 * outer * outer;
  EXPECT_LE(bound.without_hole, std::max(0.0, 0.2 * best - hole) + 1e-9);
}

std::string name_of_kind(const testing::TestParamInfo<Kind>& info) {
  constexpr std::array names{"Plain", "Opening", "WideNeedle", "DeadTip"};
  return names[static_cast<std::size_t>(info.param)];
}

INSTANTIATE_TEST_SUITE_P(Worlds, Certificate, testing::Values(Kind::plain, Kind::opening, Kind::wide_needle, Kind::dead_tip), name_of_kind);

}  // namespace
}  // namespace leastharm
