#include "planner/propose.h"

#include <gtest/gtest.h>

#include <numbers>

#include "support/made_world.h"
#include "support/shape_world.h"

namespace leastharm {
namespace {

struct World : test::MadeWorld {
  World() { file.requests = {test::packing_request(5)}; }
};

TEST(Propose, FindsAnAdmissibleTrack) {
  World world;
  const Proposal proposal = propose(world.body, world.file);
  ASSERT_TRUE(proposal.feasible);
  ASSERT_EQ(proposal.assessment.tracks.size(), 1u);
  const TrackAssessment& a = proposal.assessment.tracks[0];
  EXPECT_TRUE(a.admissible);
  EXPECT_GE(a.core.mass_mg, 5);
  EXPECT_GE(a.core.p_enough.value(), 0.9);
  EXPECT_LE(proposal.certificate.lower_bound, proposal.assessment.programme.score);
}

TEST(Propose, SetsReplicatesApartOnBothSides) {
  World world;
  world.file.requests[0].replicates = 4;
  world.file.requests[0].sides = Sides::both;
  const Proposal proposal = propose(world.body, world.file);
  ASSERT_TRUE(proposal.feasible);
  ASSERT_EQ(proposal.assessment.tracks.size(), 4u);
  int left = 0;
  for (const TrackAssessment& a : proposal.assessment.tracks) {
    EXPECT_TRUE(a.admissible) << (a.findings.empty() ? "" : a.findings[0].what);
    left += a.side == "left" ? 1 : 0;
  }
  EXPECT_EQ(left, 2);
}

/// Layers whose normal stands 25 degrees out of the axial plane: the squarer, the cheaper, the nearer to the tilt limit.
TEST(Propose, StaysTwoDegreesInsideTheTiltLimitWhereThatCostsLittle) {
  const test::Pose pose{Mat3(Eigen::AngleAxisd(25 * std::numbers::pi / 180, Vec3::UnitY())), {0, 0, 0}};
  const test::ShapeWorld world = test::make_world(test::grid_about({0, 0, 0}, 60, {2, 2, 2}, Mat3::Identity()), pose, [](const Vec3& p) {
    if (p.x() > 0) return Material::air;
    if (p.x() > -4) return Material::wrapping;
    const bool filled = p.x() < -8 && p.x() > -45 && std::max(std::abs(p.y()), std::abs(p.z())) < 40;
    return filled ? Material::packing : Material::body;
  });
  const Body body = world.body();
  RequestFile file;
  file.requests = {test::packing_request(8)};
  file.needles = {needle_catalogue().front()};
  file.limits.tilt_deg = 20;
  file.time_s = 2;
  const Proposal proposal = propose(body, file);
  ASSERT_TRUE(proposal.feasible);
  const TrackAssessment& a = proposal.assessment.tracks[0];
  EXPECT_LE(a.tilt_deg, 18.2);
  EXPECT_GE(a.tilt_deg, 15);   // and not much more than that: squarer is cheaper
  EXPECT_EQ(proposal.certificate.gap, (a.damage.score - proposal.certificate.lower_bound) / a.damage.score);   // of the score as it is
}

/// Packing at the bottom of a hollow, in bone all round; a slanting hole of 11 mm through 50 mm of lid lets in lines within 4 degrees.
TEST(Propose, FindsTheWayThroughANarrowHole) {
  const double slant = std::tan(12 * std::numbers::pi / 180);
  const test::ShapeWorld world = test::make_world(test::grid_about({0, 0, 0}, 64, {2, 2, 2}, Mat3::Identity()), {}, [&](const Vec3& p) {
    const double in_hole = std::hypot(p.y() - slant * p.x(), p.z()), in_hollow = std::hypot(p.y(), p.z());
    if (p.x() > 50) return Material::air;
    if (p.x() > 0) return in_hole < 5.5 ? Material::air : Material::bone;
    if (in_hollow > 40 || p.x() < -50) return Material::bone;
    return p.x() > -14 ? Material::air : Material::packing;
  });
  const Body body = world.body();
  RequestFile file;
  file.requests = {test::packing_request(8)};
  file.needles = {needle_catalogue().front()};
  file.time_s = 2;
  const Proposal proposal = propose(body, file);
  ASSERT_TRUE(proposal.feasible);
  EXPECT_NEAR(proposal.assessment.tracks[0].track.entry_lps_mm.x(), -13, 2);   // on the packing, not on the lid
}

TEST(Propose, SaysThatMassBlocksAndByHowMuch) {
  World world;
  world.file.requests[0].assays = {{"too much", 60}};   // the bore holds 90 mm3
  const Proposal proposal = propose(world.body, world.file);
  ASSERT_FALSE(proposal.feasible);
  ASSERT_FALSE(proposal.blocking.empty());
  EXPECT_EQ(proposal.blocking[0].constraint, "mass");
  EXPECT_EQ(proposal.blocking[0].needed, 60);
  EXPECT_LT(proposal.blocking[0].best_found, 60);
  EXPECT_GT(proposal.blocking[0].best_found, 5);
}

}  // namespace
}  // namespace leastharm
