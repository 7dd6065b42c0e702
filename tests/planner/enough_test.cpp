#include "planner/enough.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "imaging/error.h"

namespace leastharm::test {
namespace {

using testing::Contains;
using testing::HasSubstr;

/// Lead ore of 5 % Pb as galena (86.6 % Pb, 7.5 g/cm3) in 2.65 g/cm3, liberated at 0.015 cm, top size d.
GyMaterial lead_ore(double top_size_cm) {
  GyMaterial ore;
  ore.shape = 0.5;
  ore.size_range = 0.25;
  ore.fraction = 0.05 / 0.866;
  ore.constituent_g_per_cm3 = 7.5;
  ore.rest_g_per_cm3 = 2.65;
  ore.liberation = std::min(1.0, std::sqrt(0.015 / top_size_cm));
  return ore;
}

// Source: worked example of Wills, Mineral Processing Technology (1982): 2 % relative error at 95 %, shared out over
// four stages of sampling, doubled for safety; the book rounds to 1 369 632, 24 501, 438 and 0.07 g.
TEST(Gy, GivesTheTextbooksMassesForLeadOre) {
  const double relative_sd = 0.02 / 1.96 / 2;   // four equal stages halve the deviation of each
  const double book[]{1369632, 24501, 438, 0.0724}, sizes[]{2.5, 0.5, 0.1, 0.004};
  const double single[]{178263, 3188.9, 57.04, 0.00943};   // one stage, no safety factor: arithmetic on the formula
  for (int n = 0; n < 4; ++n) {
    EXPECT_NEAR(2 * gy_mass_g(lead_ore(sizes[n]), sizes[n], relative_sd) / book[n], 1, 1e-3) << sizes[n];
    EXPECT_NEAR(gy_mass_g(lead_ore(sizes[n]), sizes[n], 0.01) / single[n], 1, 1e-3) << sizes[n];
  }
}

TEST(Gy, ErrorAndMassAreInversesAndALotIsExhaustible) {
  GyMaterial m;
  EXPECT_NEAR(gy_relative_sd(m, 0.25, gy_mass_g(m, 0.25, 0.1)), 0.1, 1e-12);
  EXPECT_NEAR(gy_relative_sd(m, 0.25, 5, 5), 0, 1e-12);   // the whole lot has no error
  EXPECT_LT(gy_relative_sd(m, 0.25, 4, 5), gy_relative_sd(m, 0.25, 4));
}

TEST(ChanceToMiss, OfATenthInTwentyGrainsIsTwelvePercent) {
  EXPECT_NEAR(chance_to_miss(0.1, 20), 0.1216, 1e-4);   // 0.9^20
  EXPECT_EQ(chance_to_miss(1, 3), 0);
  EXPECT_EQ(chance_to_miss(0.5, 0), 1);
}

// Source: worked example 7.8 of an analytical chemistry text ("How many samples to collect"): s^2 = 50, e = 5 %, 95 %
// gives 10 (the normal start alone would give 8).
TEST(Replicates, FollowTheTextbooksIteratedT) {
  EXPECT_EQ(replicates_for(50, 5), 10);
  EXPECT_EQ(replicates_for(0, 5), 2);
  EXPECT_GT(replicates_for(50, 1), 190);
  EXPECT_THROW((void)replicates_for(50, 0), BadInput);
  EXPECT_THROW((void)replicates_for(std::nan(""), 1), BadInput);
}

/// The usual core: 2.4 mm bore, 20 mm throw (common practice, no published source).
Needle usual(double recovery_lo, double recovery_hi) {
  Needle needle;
  needle.outer_mm = 3;
  needle.bore_mm = 2.4;
  needle.throw_mm = 20;
  needle.usable_mm = 150;
  needle.bore_tolerance_mm = 0;
  needle.recovery_p05 = recovery_lo;
  needle.recovery_p95 = recovery_hi;
  return needle;
}

// Arithmetic: 90.5 mm3 at 0.2, 0.25, 0.3 g/cm3 is 18.1, 22.6, 27.1 mg; at 70 % recovery 12.7, 15.8, 19.0 mg.
TEST(EnoughOf, OneUsualCoreOfLoosePackingIsTheArithmetic) {
  for (const auto& [density, full, part] : {std::tuple{0.2, 18.1, 12.7}, {0.25, 22.6, 15.8}, {0.3, 27.1, 19.0}}) {
    const Enough all = enough(usual(1, 1), density, density, 20, 0), some = enough(usual(0.7, 0.7), density, density, 20, 0);
    EXPECT_NEAR(all.full_mg_lo, full, 0.06);
    EXPECT_NEAR(all.mass_mg, full, 0.06);
    EXPECT_NEAR(some.mass_mg, part, 0.06);
    EXPECT_EQ(some.mass_mg_p05, some.mass_mg_p95);   // nothing left uncertain
    EXPECT_EQ(some.p_enough, 0);
  }
}

// Common practice, no published source: 0.02 g per analysis, 2.4 mm bore, grains up to 2.5 mm.
TEST(EnoughOf, TheUsualCoreDoesNotSurelyGiveTwentyMilligrams) {
  const Enough e = enough(usual(0.6, 0.9), 0.2, 0.3, 20, 2.5);
  EXPECT_NEAR(e.core_mm3, 90.5, 0.05);
  EXPECT_NEAR(e.mass_mg, 17, 0.4);
  EXPECT_LT(e.p_enough, 0.35);
  EXPECT_GT(e.p_enough, 0.05);
  EXPECT_EQ(e.cores_needed, 2);
  EXPECT_NEAR(e.bore_to_grain, 0.96, 1e-9);
  EXPECT_THAT(e.conclusion, HasSubstr("Presence only"));
  EXPECT_THAT(e.remarks, Contains(HasSubstr("wider than the bore")));
  for (const char* remedy : {"Wider bore", "Longer throw", "More cores: 2", "Less mass"})
    EXPECT_THAT(e.remarks, Contains(AllOf(HasSubstr(remedy), HasSubstr("price")))) << remedy;
}

TEST(EnoughOf, ChanceAgreesWithTheNormalWhereRecoveryIsFixed) {
  const Enough e = enough(usual(0.7, 0.7), 0.2, 0.3, 16, 0);
  const double full = 0.7 * e.core_mm3, sd = 0.1 / (2 * 1.6448536) * full;
  EXPECT_NEAR(e.p_enough, 0.5 * std::erfc((16 - 0.25 * full) / (sd * std::numbers::sqrt2)), 0.02);
  EXPECT_NEAR(e.mass_mg_p05, 0.2 * full, 0.15);
  EXPECT_NEAR(e.mass_mg_p95, 0.3 * full, 0.15);
}

TEST(EnoughOf, FineGrainsSupportAProportion) {
  const Enough e = enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0.5);
  EXPECT_GT(e.bore_to_grain, 3);
  EXPECT_LT(e.gy_relative_sd, kMostErrorForProportion);
  EXPECT_THAT(e.conclusion, HasSubstr("A proportion"));
  EXPECT_NEAR(e.grains, e.mass_mg / (1.5 * std::numbers::pi / 6 * 0.125), 1e-9);
  EXPECT_NEAR(e.chance_to_miss_at_tenth, std::pow(0.9, e.grains), 1e-12);
  for (const std::string& remark : e.remarks) EXPECT_THAT(remark, testing::Not(HasSubstr("Wider bore")));
}

TEST(EnoughOf, UnknownGrainsAllowNoProportion) {
  EXPECT_THAT(enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0).conclusion, HasSubstr("Presence only"));
}

TEST(EnoughOf, BoreUnderThreeGrainsIsSaid) {
  EXPECT_THAT(enough(usual(0.6, 0.9), 0.2, 0.3, 10, 1.2).remarks, Contains(HasSubstr("at least 3 times (3.6 mm)")));
  // 2.4 mm is three times 0.8 mm.
  for (const std::string& remark : enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0.8).remarks)
    EXPECT_THAT(remark, testing::Not(HasSubstr("times the largest particle")));
}

// The same mass of sand is fewer grains than of plant fibre: quartz has 2.65 g/cm3, cell wall 1.5.
TEST(EnoughOf, CountsGrainsByWhatTheFillingIs) {
  const Enough fibre = enough(usual(0.6, 0.9), 1.3, 1.6, 50, 0.5, Filling::plant_fibre), sand = enough(usual(0.6, 0.9), 1.3, 1.6, 50, 0.5, Filling::sand);
  EXPECT_NEAR(fibre.grains / sand.grains, 2.65 / 1.5, 1e-9);
  EXPECT_NEAR(sand.gy_relative_sd / fibre.gy_relative_sd, std::sqrt(2.65 / 1.5), 1e-9);
  EXPECT_THAT(fibre.remarks, Contains(HasSubstr("more than solid plant fibre has (1.5 g/cm3)")));
  EXPECT_THAT(enough(usual(0.6, 0.9), 1.3, 1.6, 50, 0.5).remarks, Contains(HasSubstr("say with --filling")));
  for (const std::string& remark : sand.remarks) EXPECT_THAT(remark, testing::Not(HasSubstr("--filling")));
}

TEST(EnoughOf, SaysHowManyCoresAPrecisionTakes) {
  EXPECT_EQ(replicates_for_fifth(0.1), replicates_for(100, 20));
  EXPECT_EQ(replicates_for_fifth(1e9), 0);
  const Enough fine = enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0.3), coarse = enough(usual(0.6, 0.9), 0.2, 0.3, 10, 2.5);
  EXPECT_LT(fine.replicates_for_20_percent, 5);
  EXPECT_GT(coarse.replicates_for_20_percent, 100);
  EXPECT_THAT(coarse.remarks, Contains(HasSubstr("by the sampling error alone")));
  EXPECT_TRUE(to_json(enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0)).at("replicates_for_20_percent").is_null());
}

TEST(EnoughOf, NeverRoundsASmallChanceToNone) {
  EXPECT_THAT(enough(usual(0.6, 0.9), 0.2, 0.3, 10, 0.1).conclusion, HasSubstr("missed less than 1 % of the time"));
}

TEST(EnoughOf, RefusesNonsense) {
  const Needle n = usual(0.6, 0.9);
  EXPECT_THROW((void)enough(n, 0, 0.3, 20, 2), BadInput);
  EXPECT_THROW((void)enough(n, 0.3, 0.2, 20, 2), BadInput);
  EXPECT_THROW((void)enough(n, 0.2, std::nan(""), 20, 2), BadInput);
  EXPECT_THROW((void)enough(n, 0.2, 0.3, 0, 2), BadInput);
  EXPECT_THROW((void)enough(n, 0.2, 0.3, 20, -1), BadInput);
  Needle wrong = n;
  wrong.bore_mm = 3.5;
  EXPECT_THROW((void)enough(wrong, 0.2, 0.3, 20, 2), BadInput);
}

TEST(EnoughOf, IsTheSameForTheSameSeed) {
  EXPECT_EQ(to_json(enough(usual(0.6, 0.9), 0.2, 0.3, 20, 2)).dump(), to_json(enough(usual(0.6, 0.9), 0.2, 0.3, 20, 2)).dump());
}

}  // namespace
}  // namespace leastharm::test
