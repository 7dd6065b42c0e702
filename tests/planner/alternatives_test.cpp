// What stands beside a plan: other routes, how firm its first place is, and the prices of lesser choices.
#include "alternatives.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "planner/cylinder.h"
#include "planner/enough.h"
#include "support/made_world.h"

namespace leastharm {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

struct World : test::MadeWorld {
  Proposal proposal;

  World() {
    body.marks.push_back({"flank", MarkKind::opening, 0, false, ball_mask(body.grid, {-70, 0, 330}, 8)});
    Request request;
    request.id = "P";
    request.material = Material::packing;
    request.assays = {{"light microscopy", 0}, {"GC-MS", 4}};
    request.retain_mg = 1;
    request.replicates = 2;
    request.sides = Sides::both;
    request.largest_particle_mm = 1;
    file.requests = {request};
    proposal = propose(body, file);
  }
};

const World& world() {
  static const World made;
  return made;
}

double certainty(const TrackAssessment& a) {
  double chance = a.core.p_enough.value();
  for (const auto& [name, p] : a.p_touch) chance *= 1 - p;
  return chance;
}

const TrackAssessment& replaced(const Alternative& a) {
  for (const TrackAssessment& t : world().proposal.assessment.tracks)
    if (t.track.id == a.in_place_of) return t;
  throw std::logic_error("in_place_of names no track of the plan");
}

TEST(Alternatives, AreFewAndEachKeepsEveryLimitInItsPlace) {
  ASSERT_TRUE(world().proposal.feasible);
  const auto& alternatives = world().proposal.alternatives;
  ASSERT_FALSE(alternatives.empty());
  EXPECT_LE(alternatives.size(), 6u);
  for (std::size_t n = 0; n < alternatives.size(); ++n) {
    EXPECT_EQ(alternatives[n].id, "A" + std::to_string(n + 1));
    EXPECT_EQ(alternatives[n].assessment.tracks.size(), 2u);
    EXPECT_EQ(alternatives[n].route().side, replaced(alternatives[n]).side);
    for (const TrackAssessment& t : alternatives[n].assessment.tracks)
      EXPECT_TRUE(t.admissible) << alternatives[n].id << ": " << (t.findings.empty() ? "" : t.findings[0].what);
  }
}

TEST(Alternatives, DifferClearlyFromThePlanAndFromEachOther) {
  std::vector<Track> tracks;
  for (const TrackAssessment& t : world().proposal.assessment.tracks) tracks.push_back(t.track);
  for (const Alternative& a : world().proposal.alternatives) {
    const Track& mine = a.route().track;
    for (const Track& other : tracks) {
      const double turn = std::acos(std::clamp(axis_of(mine).dot(axis_of(other)), -1.0, 1.0)) * 180 / 3.14159265;
      EXPECT_TRUE((mine.tip_lps_mm - other.tip_lps_mm).norm() > 19.9 || turn > 24.9) << a.id << " and " << other.id;
    }
    tracks.push_back(mine);
  }
}

TEST(Alternatives, AreBestInWhatTheyAreShownFor) {
  for (const Alternative& a : world().proposal.alternatives) {
    const TrackAssessment& mine = a.route();
    for (const TrackAssessment& plans : world().proposal.assessment.tracks) {
      if (a.best_in.find("certainty") != std::string::npos) { EXPECT_GT(certainty(mine), certainty(plans)) << a.id; }
      if (a.best_in.find("yield") != std::string::npos) { EXPECT_GT(mine.core.mass_mg, plans.core.mass_mg) << a.id; }
    }
    for (const Alternative& other : world().proposal.alternatives) {
      if (a.best_in.find("certainty") != std::string::npos) { EXPECT_GE(certainty(mine), certainty(other.route()) - 0.01); }
      if (a.best_in.find("yield") != std::string::npos) { EXPECT_GE(mine.core.mass_mg, other.route().core.mass_mg - 0.5); }
    }
  }
}

TEST(Alternatives, CostMoreThanThePlan) {
  for (const Alternative& a : world().proposal.alternatives)
    EXPECT_GE(a.assessment.programme.score, world().proposal.assessment.programme.score - 1e-9) << a.id;
}

TEST(Prices, StandBesideThePlanAlways) {
  const auto& prices = world().proposal.prices;
  ASSERT_EQ(prices.size(), 4u);
  EXPECT_EQ(name_of(prices[0].choice), "nothing");
  EXPECT_EQ(prices[0].assessment.programme.score, 0);
  EXPECT_EQ(name_of(prices[1].choice), "archived material");
  EXPECT_EQ(prices[1].assessment.programme.score, 0);
  EXPECT_EQ(name_of(prices[2].choice), "one core");
  EXPECT_EQ(name_of(prices[3].choice), "half the mass");
}

TEST(Prices, OfLessIsLess) {
  const Proposal& proposal = world().proposal;
  const Price &one = proposal.prices[2], &half = proposal.prices[3];
  const double whole = proposal.assessment.programme.score;
  ASSERT_TRUE(one.found);
  ASSERT_EQ(one.assessment.tracks.size(), 1u);
  // Of two independent cores the cheaper one costs at most half.
  EXPECT_LE(one.assessment.programme.score, whole / 2 * 1.0001);
  EXPECT_TRUE(one.assessment.tracks[0].admissible);
  ASSERT_TRUE(half.found);
  ASSERT_EQ(half.assessment.tracks.size(), 2u);
  EXPECT_LE(half.assessment.programme.score, whole + 1e-9);
  for (const TrackAssessment& t : half.assessment.tracks) {
    EXPECT_TRUE(t.admissible);
    EXPECT_GE(t.core.p_enough.value(), 0.9);   // of half the need
  }
}

TEST(Prices, SayWhatIsLost) {
  RequestFile file = world().file;
  EXPECT_THAT(conclusion_lost(file, LesserChoice::one_core), HasSubstr("2 cores show it, one shows none"));
  EXPECT_THAT(conclusion_lost(file, LesserChoice::one_core), HasSubstr("left and right"));
  // Half of 5 mg is 2.5 mg: too little for GC-MS at 4 mg. The sampling error grows by the root of two.
  const std::string half = conclusion_lost(file, LesserChoice::half_the_mass);
  EXPECT_THAT(half, HasSubstr("2.5 mg in place of 5 mg"));
  EXPECT_THAT(half, HasSubstr("no longer enough for GC-MS (4 mg)"));
  const double error = gy_relative_sd({}, 0.1, 0.005);
  EXPECT_THAT(half, HasSubstr("grows from " + std::to_string(std::lround(100 * error)) + " % to " +
                              std::to_string(std::lround(100 * error * std::numbers::sqrt2)) + " %"));
  file.requests[0].replicates = 1;
  EXPECT_THAT(conclusion_lost(file, LesserChoice::one_core), HasSubstr("nothing, it asks for one core"));
}

TEST(Prices, HalveEveryNeedAndKeepTheRest) {
  const RequestFile half = request_at(world().file, LesserChoice::half_the_mass);
  EXPECT_DOUBLE_EQ(half.requests[0].need_mg(), 2.5);
  EXPECT_EQ(half.requests[0].replicates, 2);
  RequestFile pooled = world().file;
  pooled.requests[0].pooled = true;
  const RequestFile one = request_at(pooled, LesserChoice::one_core);
  EXPECT_EQ(one.requests[0].replicates, 1);
  EXPECT_DOUBLE_EQ(one.requests[0].need_mg(), 2.5);   // its share
}

TEST(Firmness, OfTwoPartsIsTheTriangularLaw) {
  // The plan scores 10 b, its rival 11 h; log2 of each factor is even on -1..1, their difference d has the triangular law
  // on -2..2: P(d <= x) = 1/2 + x/2 - x^2/8 for x in 0..2, here x = log2 1.1.
  const double x = std::log2(1.1), chance = 0.5 + x / 2 - x * x / 8;
  double mean = 0;
  for (std::uint64_t seed = 1; seed <= 100; ++seed) mean += firmness_among({{"body", 10}}, {{{"hole", 11}}}, seed).first_in_100;
  EXPECT_NEAR(mean / 100, 100 * chance, 4 * 0.5);   // of 10 000 draws one standard error is 0.5 in 100
  EXPECT_THAT(firmness_among({{"body", 10}}, {{{"hole", 11}}}, 1).changed_by, ElementsAre("body doubled", "hole halved"));
}

TEST(Firmness, OfADominatingPlanIsEntire) {
  const Firmness firmness = firmness_among({{"body", 1}, {"hole", 2}}, {{{"body", 1.5}, {"hole", 2}}, {{"body", 3}, {"hole", 9}}}, 7);
  EXPECT_EQ(firmness.first_in_100, 100);
  EXPECT_THAT(firmness.changed_by, IsEmpty());
  EXPECT_THAT(firmness_sentence(firmness), HasSubstr("first in 100 of 100"));
}

TEST(Firmness, OfAProposalIsWithinItsRange) {
  const Firmness& firmness = world().proposal.firmness;
  EXPECT_GT(firmness.rivals, 0);
  EXPECT_GE(firmness.first_in_100, 0);
  EXPECT_LE(firmness.first_in_100, 100);
}

TEST(Firmness, AgainstNobodyIsSaidToBeNone) {
  EXPECT_THAT(firmness_sentence(firmness_among({{"body", 1}}, {}, 1)), HasSubstr("No clearly different route"));
}

}  // namespace
}  // namespace leastharm
