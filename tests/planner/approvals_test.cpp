// Who has agreed to a plan: the last statement of each role, while nothing it bound has changed.
#include "planner/approvals.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace leastharm {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

void say(CaseFile& file, const std::string& role, const std::string& decision, const std::string& condition = "") {
  file.approvals.push_back({.role = role, .by = "N. N.", .at = "2026-03-04T08:00:00Z", .decision = decision, .condition = condition,
                            .note = "", .plan_sha256 = plan_sha256(file), .parts = plan_parts(file), .voided = ""});
}

CaseFile agreed() {
  CaseFile file;
  for (const std::string& role : needed_roles()) say(file, role, "approved");
  return file;
}

TEST(Approvals, AreNeededOfThreeRoles) {
  CaseFile file;
  EXPECT_THAT(missing_approvals(file), ElementsAre("approval of radiologist: missing", "approval of conservator: missing",
                                                   "approval of committee: missing"));
  EXPECT_THAT(missing_approvals(agreed()), IsEmpty());
}

TEST(Approvals, TheLastStatementOfARoleCounts) {
  CaseFile file = agreed();
  say(file, "conservator", "declined");
  EXPECT_THAT(missing_approvals(file), ElementsAre("approval of conservator: declined by N. N."));
  say(file, "conservator", "approved");
  EXPECT_THAT(missing_approvals(file), IsEmpty());
  say(file, "custodian", "declined");   // heard, but not one of those without whom nothing goes
  EXPECT_THAT(missing_approvals(file), IsEmpty());
}

TEST(Approvals, AreVoidOnceWhatTheyBoundChanged) {
  CaseFile file = agreed();
  file.ct.sha256 = "another";
  EXPECT_THAT(missing_approvals(file), testing::Each(HasSubstr("void, because changed since: CT")));
  file = agreed();
  file.approvals[0].voided = "the CT was segmented again";
  EXPECT_THAT(missing_approvals(file), ElementsAre("approval of radiologist: void, because the CT was segmented again"));
}

TEST(Approvals, ConditionsStandWhileTheirStatementDoes) {
  CaseFile file = agreed();
  say(file, "conservator", "approved", "only with a control scan");
  EXPECT_THAT(standing_conditions(file), ElementsAre("only with a control scan (conservator)"));
  file.ct.sha256 = "another";
  EXPECT_THAT(standing_conditions(file), IsEmpty());
}

}  // namespace
}  // namespace leastharm
