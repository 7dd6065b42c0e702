// What was taken and what is left: a chain that shows every change, and balances that cannot be
// overdrawn.
#include "planner/records.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "imaging/error.h"
#include "support/taken_core.h"

namespace leastharm {
namespace {

using nlohmann::json;
using test::taken;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr const char* kWhen = "2026-03-04T10:00:00Z";

json aborted() {
  return {{"outcome", "aborted"},
          {"reason", "unexpected resistance at 31 mm"},
          {"taken_at", "2026-03-04T09:40:00+01:00"},
          {"persons", {{{"name", "O. Example"}, {"role", "operator"}}}}};
}

json core(const std::string& track, const json& said) {
  return {{"track", track},
          {"plan", "v1-00000000"},
          {"taken", to_json(parse_taken(said))},
          {"held_against_plan", nullptr},
          {"crossed", nullptr},
          {"damage", nullptr}};
}

json use(const std::string& sample, double mg) {
  return {{"sample", sample}, {"mg", mg}, {"for", "GC-MS"}, {"by", "Invented laboratory"}};
}

std::string refusal(const std::function<void()>& call) {
  try {
    call();
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return "";
}

std::vector<Record> usual() {
  std::vector<Record> records;
  record_core(records, core("T1", aborted()), kWhen);
  record_core(records, core("T2", taken("S1", 14.2)), kWhen);
  record_use(records, use("S1", 10), kWhen);
  return records;
}

TEST(Records, KeepTheBalanceOfASample) {
  std::vector<Record> records = usual();
  const auto cores = cores_of(records);
  ASSERT_EQ(cores.size(), 2u);
  EXPECT_TRUE(cores[0].taken.aborted);
  EXPECT_NEAR(cores[1].left_mg(), 4.2, 1e-9);
  const std::string overdraft = refusal([&] { record_use(records, use("S1", 5), kWhen); });
  EXPECT_THAT(overdraft, HasSubstr("4.20 mg left of 14.2 mg"));
  EXPECT_EQ(records.size(), 3u);
  record_use(records, use("S1", 4.2), kWhen);
  EXPECT_NEAR(cores_of(records)[1].left_mg(), 0, 1e-9);
}

TEST(Records, AreCorrectedByLaterOnesAlone) {
  std::vector<Record> records = usual();
  json right = core("T2", taken("S1", 13.9));
  right.update({{"corrects", 2}, {"why", "the balance had drifted"}});
  record_core(records, right, kWhen);
  json less = use("S1", 8);
  less.update({{"corrects", 3}, {"why", "8 mg went into the vial"}});
  record_use(records, less, kWhen);
  const auto cores = cores_of(records);
  EXPECT_NEAR(cores[1].left_mg(), 5.9, 1e-9);
  EXPECT_EQ(cores[1].corrections, 1);
  EXPECT_EQ(records.size(), 5u);
  EXPECT_THAT(record_faults(records), IsEmpty());
}

TEST(Records, ACorrectionCannotOverdrawASample) {
  std::vector<Record> records = usual();
  json lighter = core("T2", taken("S1", 9));
  lighter.update({{"corrects", 2}, {"why", "misread"}});
  EXPECT_THAT(refusal([&] { record_core(records, lighter, kWhen); }),
              HasSubstr("1.00 mg more than there is"));
  EXPECT_THAT(refusal([&] {
                json nothing = core("T2", taken("S1", 9));
                nothing["corrects"] = 7;
                record_core(records, nothing, kWhen);
              }),
              HasSubstr("entry 7"));
  EXPECT_EQ(records.size(), 3u);
}

TEST(Records, NoIdTwiceAndNoUnknownSample) {
  std::vector<Record> records = usual();
  EXPECT_THAT(refusal([&] { record_core(records, core("T3", taken("S1", 3)), kWhen); }),
              HasSubstr("\"S1\" is taken already"));
  EXPECT_THAT(refusal([&] { record_use(records, use("S9", 1), kWhen); }),
              HasSubstr("recorded: S1"));
  EXPECT_THAT(refusal([&] { record_use(records, use("S1", -1), kWhen); }), HasSubstr("above 0"));
  EXPECT_EQ(records.size(), 3u);
}

TEST(Records, ShowEveryTampering) {
  const std::vector<Record> sound = usual();
  EXPECT_THAT(record_faults(sound), IsEmpty());
  std::vector<Record> heavier = sound;
  heavier[1].what["taken"]["net_mg"] = 24.2;
  EXPECT_THAT(record_faults(heavier), testing::Contains(HasSubstr("record 2 (core): was altered")));
  std::vector<Record> without = sound;
  without.erase(without.begin() + 1);
  EXPECT_FALSE(record_faults(without).empty());
  std::vector<Record> swapped = sound;
  std::swap(swapped[0], swapped[1]);
  EXPECT_FALSE(record_faults(swapped).empty());
}

TEST(Records, SurviveTheirFile) {
  std::vector<Record> back;
  for (const Record& r : usual()) back.push_back(parse_record(json::parse(to_json(r).dump(1)), "records[0]"));
  EXPECT_THAT(record_faults(back), IsEmpty());
}

TEST(Taken, NamesWhatIsWrong) {
  const auto refused = [](const char* key, const json& value) {
    json said = taken("S1", 14.2);
    said[key] = value;
    return refusal([&] { (void)parse_taken(said); });
  };
  EXPECT_THAT(refused("gross_mg", -3), HasSubstr("gross_mg is -3; allowed: from 0"));
  EXPECT_THAT(refused("tare_mg", 1300), HasSubstr("cannot weigh more"));
  EXPECT_THAT(refused("net_mg", 15), HasSubstr("gross less tare is 14.20"));
  EXPECT_THAT(refused("taken_at", "yesterday"), HasSubstr("2026-03-04T10:30:00Z"));
  EXPECT_THAT(refused("persons", json::array()), HasSubstr("persons"));
  EXPECT_THAT(refused("reason", "none"), HasSubstr("note"));
  EXPECT_THAT(refused("tip_lps_mm", {1, 2, 3}), HasSubstr("belong together"));
  EXPECT_THAT(refused("mass_mg", 3), HasSubstr("did you mean"));
  json silent = aborted();
  silent.erase("reason");
  EXPECT_THAT(refusal([&] { (void)parse_taken(silent); }), HasSubstr("reason is missing"));
}

TEST(Taken, WorksTheNetMassOut) {
  json said = taken("S1", 14.2);
  said.erase("net_mg");
  EXPECT_NEAR(parse_taken(said).net_mg, 14.2, 1e-9);
}

TEST(Samples, AsATableHaveOneRowACore) {
  const std::string csv = samples_csv(cores_of(usual()), "INVENTED \"1\"");
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), 3);
  EXPECT_THAT(csv, HasSubstr("\"INVENTED \"\"1\"\"\""));
  EXPECT_THAT(csv, HasSubstr("1214.2,1200,14.2,10,4.2"));
}

TEST(Samples, AsLinkedDataNameTheSampleItsTakingAndItsUse) {
  const json ld = samples_json_ld(cores_of(usual()), "INVENTED-1");
  std::vector<std::string> types;
  for (const json& node : ld["@graph"])
    types.push_back(node["@type"].is_array() ? node["@type"][0] : node["@type"]);
  EXPECT_THAT(types,
              ElementsAre("crm:E22_Human-Made_Object", "crm:E7_Activity", "crmsci:S13_Sample",
                          "crmsci:S1_Matter_Removal", "crmsci:S2_Sample_Taking"));
}

}  // namespace
}  // namespace leastharm
