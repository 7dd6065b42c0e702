#include "planner/propose.h"

#include <gtest/gtest.h>

#include "support/made_world.h"

namespace leastharm {
namespace {

struct World : test::MadeWorld {
  World() {
    Request request;
    request.id = "P";
    request.material = Material::packing;
    request.assays = {{"GC-MS", 5}};
    file.requests = {request};
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
