// The bound of cores whose sum counts, against plans that are as lopsided as they can be.
#include "pool_bound.h"

#include <gtest/gtest.h>

#include "certify.h"
#include "planner/assessor.h"
#include "support/made_world.h"

namespace leastharm {
namespace {

struct World : test::MadeWorld {
  World() {
    Request request = test::packing_request(9);
    request.replicates = 2;
    request.pooled = true;
    file.requests = {request};
    file.placement = {0.5, 0.5, 0};   // so that a core that hardly enters brings hardly anything
  }
};

TEST(PoolBound, HoldsForOneCoreThatBringsAllAndForTwoThatShare) {
  const World world;
  const auto one = one_of_the_pool(world.body, world.file, world.file.requests[0]);
  ASSERT_TRUE(one);
  EXPECT_LT(one->request().need_mg(), 4.5);   // its share, less what noise may add
  EXPECT_LT(one->file->limits.p_enough_min, 0.45);
  const Proposal proposal = propose(world.body, world.file);
  ASSERT_TRUE(proposal.feasible);
  double cheapest = 1e9;
  for (const TrackAssessment& a : proposal.assessment.tracks) cheapest = std::min(cheapest, a.damage.score);
  SweepGrounds grounds(*one->scene);
  const SideBound bound = certify(grounds, {&one->request(), {{0, cheapest}}, 0.05, {}}, 1e8);   // so much work on every machine
  EXPECT_GT(bound.lower_bound, 1);
  EXPECT_LE(bound.lower_bound, proposal.assessment.programme.score);

  std::vector<Track> plan;
  for (const TrackAssessment& a : proposal.assessment.tracks) plan.push_back(a.track);
  Track &rich = plan[0], &poor = plan[1];
  poor.tip_lps_mm = poor.entry_lps_mm + 0.2 * axis_of(poor);
  const Assessor assessor(world.body, world.file);
  Assessment lopsided;
  for (int mm = 0; mm < 30; ++mm, rich.tip_lps_mm += axis_of(rich)) {
    lopsided = assessor.assess(plan);
    if (lopsided.programme.p_enough.at("P") >= 0.9) break;
  }
  ASSERT_GE(lopsided.programme.p_enough.at("P"), 0.9);
  ASSERT_LT(lopsided.tracks[1].core.mass_mg, 0.2 * lopsided.tracks[0].core.mass_mg);
  EXPECT_GE(lopsided.programme.score, bound.lower_bound);
}

TEST(PoolBound, ClaimsNothingWhereAShareOfTheChanceIsTooLittle) {
  World world;
  world.file.requests[0].replicates = 6;   // 0.9 / 6 less what is spared
  EXPECT_FALSE(one_of_the_pool(world.body, world.file, world.file.requests[0]));
  world.file.requests[0].replicates = 2;
  world.file.requests[0].assays = {{"GC-MS", 1}};   // noise may add more than half of it
  EXPECT_FALSE(one_of_the_pool(world.body, world.file, world.file.requests[0]));
}

}  // namespace
}  // namespace leastharm
