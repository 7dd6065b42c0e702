#include "planner/needle.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "imaging/error.h"
#include "planner/request.h"

namespace leastharm::test {
namespace {

using nlohmann::json;
using testing::HasSubstr;

const Needle& named(const std::string& name) {
  for (const Needle& needle : needle_catalogue())
    if (needle.name == name) return needle;
  throw std::runtime_error("no needle " + name);
}

// Source: nominal regular-wall needle gauge comparison chart (Birmingham gauge), mm; area of the bore times 10 mm.
TEST(NeedleCatalogue, HasTheNominalGaugesOfTheChart) {
  const struct { int gauge; double outer, bore, mm3_per_10_mm; } chart[]{
      {7, 4.572, 3.810, 114.0}, {8, 4.191, 3.429, 92.35}, {9, 3.759, 2.997, 70.5},  {10, 3.404, 2.692, 56.9},
      {11, 3.048, 2.388, 44.8}, {12, 2.769, 2.159, 36.6}, {13, 2.413, 1.803, 25.5}, {14, 2.108, 1.600, 20.1},
      {15, 1.829, 1.372, 14.8}, {16, 1.651, 1.194, 11.2}};
  for (const auto& row : chart) {
    const Needle& needle = named("end-cut " + std::to_string(row.gauge) + "G 10 mm");
    EXPECT_EQ(needle.outer_mm, row.outer);
    EXPECT_EQ(needle.bore_mm, row.bore);
    EXPECT_NEAR(needle.bore_volume_mm3(), row.mm3_per_10_mm, 0.051) << row.gauge;
    EXPECT_THAT(needle.source, HasSubstr("chart"));
  }
}

// Source: arithmetic on the chart's 11 G (2.388 mm) over 10 mm.
TEST(NeedleCatalogue, ElevenGaugeOverTenMillimetresHolds44Point79) {
  EXPECT_NEAR(named("end-cut 11G 10 mm").bore_volume_mm3(), 44.79, 0.005);
}

// Common practice, no published source: a 2.4 mm bore; 2.4 mm x 20 mm is 90.5 mm3.
TEST(NeedleCatalogue, HasTheUsualCoreAndSaysItHasNoSource) {
  const Needle& usual = named("core 2.4 mm bore 20 mm");
  EXPECT_NEAR(usual.bore_volume_mm3(), 90.5, 0.05);
  EXPECT_EQ(usual.source, "common practice, no published source");
}

// Source: Berg et al., Radiology 1997;205:203: best 14 G side-notch core 17.7 mg; a full 14 G x 20 mm cylinder at
// 1.05 g/cm3 is 42 mg.
TEST(NeedleCatalogue, SideNotchNeedlesYieldAtMostTheirPublishedShare) {
  const Needle& notch = named("side-notch 14G 20 mm");
  EXPECT_NEAR(notch.recovery_p95, 17.7 / (1.05 * notch.bore_volume_mm3()), 0.005);
  EXPECT_GT(notch.dead_tip_mm, 0);
  EXPECT_THAT(notch.source, HasSubstr("Berg"));
}

TEST(NeedleCatalogue, IsSoundAndItsNamesDiffer) {
  std::set<std::string> names;
  for (const Needle& needle : needle_catalogue()) {
    EXPECT_NO_THROW(check_needle(needle, needle.name));
    EXPECT_TRUE(names.insert(needle.name).second) << needle.name;
    EXPECT_FALSE(needle.source.empty());
    EXPECT_EQ(parse_needle(needle.name, "needle").bore_mm, needle.bore_mm);
    EXPECT_EQ(to_json(parse_needle(to_json(needle), "needle")), to_json(needle));
  }
  EXPECT_EQ(needles_json().at("needles").size(), names.size());
}

json usual() { return {{"outer_mm", 3.0}, {"bore_mm", 2.4}, {"throw_mm", 20}, {"usable_mm", 150}}; }

std::string refusal(const json& value) {
  try {
    (void)parse_needle(value, "needles[0]");
  } catch (const BadInput& error) {
    return error.what();
  }
  return "";
}

TEST(NeedleFile, FillsInWhatMayBeLeftOut) {
  const Needle needle = parse_needle(usual(), "needle");
  EXPECT_EQ(needle.kind, NeedleKind::end_cut);
  EXPECT_EQ(needle.dead_tip_mm, 0);
  EXPECT_EQ(needle.recovery_p05, 0.6);
  EXPECT_EQ(needle.recovery_p95, 0.9);
  json notch = usual();
  notch["kind"] = "side-notch";
  EXPECT_LT(parse_needle(notch, "needle").recovery_p95, 0.5);
}

TEST(NeedleFile, RefusesNonsenseByKeyAndRange) {
  const auto with = [](const char* key, const json& value) {
    json needle = usual();
    needle[key] = value;
    return refusal(needle);
  };
  EXPECT_THAT(with("bore_mm", 3.0), HasSubstr("needles[0].bore_mm is 3"));
  EXPECT_THAT(with("bore_mm", 3.2), HasSubstr("below outer_mm"));
  for (const char* key : {"outer_mm", "bore_mm", "throw_mm", "usable_mm"})
    for (const json& value : {json(0), json(-1), json("3"), json(nullptr), json(1e9), json(std::nan(""))})
      EXPECT_THAT(with(key, value), HasSubstr(std::string("needles[0].") + key)) << value;
  EXPECT_THAT(with("dead_tip_mm", -1), HasSubstr("dead_tip_mm"));
  EXPECT_THAT(with("throw_mm", 160), HasSubstr("usable_mm"));
  for (const json& value : {json::array({0.9, 0.6}), json::array({0.5}), json::array({-0.1, 0.5}), json::array({0.5, 1.2}), json(0.7), json::array()})
    EXPECT_THAT(with("recovery", value), HasSubstr("needles[0].recovery")) << value;
  EXPECT_THAT(with("kind", "endcut"), HasSubstr("did you mean \"end-cut\""));
  EXPECT_THAT(with("bore", 2), HasSubstr("did you mean \"bore_mm\""));
  EXPECT_THAT(refusal("end-cut 11 G 20 mm"), HasSubstr("did you mean \"end-cut 11G 20 mm\""));
  json missing = usual();
  missing.erase("throw_mm");
  EXPECT_THAT(refusal(missing), HasSubstr("needles[0].throw_mm is missing"));
  EXPECT_THAT(refusal(7), HasSubstr("needles[0]"));
}

}  // namespace
}  // namespace leastharm::test
