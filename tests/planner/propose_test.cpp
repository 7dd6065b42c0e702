#include "planner/propose.h"

#include <gtest/gtest.h>

#include "support/made_body.h"

namespace leastharm {
namespace {

struct World {
  test::MadeBody made = test::made_body();
  std::vector<std::uint8_t> confidence;
  Body body;
  RequestFile file;

  World() : confidence(made.hu.values.size(), 255) {
    body.grid = made.hu.grid;
    body.hu = made.hu.values;
    body.materials = made.materials.values;
    body.confidence = confidence;
    body.frame = BodyFrame{{0, 0, 1}, {0, -1, 0}, {{0, 0, 180}, {0, 0, 400}}, 1};
    body.marks.push_back({"dense-1", MarkKind::keep_out, 0, true, ball_mask(body.grid, made.amulet_lps_mm, 6)});
    Request request;
    request.id = "P";
    request.material = Material::packing;
    request.assays = {{"GC-MS", 5}};
    file.requests = {request};
    file.needles = {needle_catalogue().front()};
  }
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
