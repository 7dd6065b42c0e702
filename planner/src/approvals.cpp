#include "planner/approvals.h"

#include <algorithm>

#include "planner/text.h"

namespace leastharm {

const std::vector<std::string>& approval_roles() {
  static const std::vector<std::string> roles{"radiologist", "conservator", "committee", "custodian",
                                              "material-scientist"};
  return roles;
}

const std::vector<std::string>& needed_roles() {
  static const std::vector<std::string> roles{"radiologist", "conservator", "committee"};
  return roles;
}

const Approval* last_statement(const CaseFile& file, const std::string& role) {
  const auto last = std::ranges::find(file.approvals.rbegin(), file.approvals.rend(), role, &Approval::role);
  return last == file.approvals.rend() ? nullptr : &*last;
}

std::string void_because(const Approval& approval, const CaseFile& file) {
  if (const auto changed = changed_since(approval, file); !changed.empty()) return "changed since: " + joined(changed);
  return approval.voided;
}

std::vector<std::string> missing_approvals(const CaseFile& file) {
  std::vector<std::string> missing;
  for (const std::string& role : needed_roles()) {
    const Approval* last = last_statement(file, role);
    std::string why;
    if (last == nullptr)
      why = "missing";
    else if (last->decision == "declined")
      why = "declined by " + last->by;
    else if (const std::string fault = void_because(*last, file); !fault.empty())
      why = "void, because " + fault;
    if (!why.empty()) missing.push_back("approval of " + role + ": " + why);
  }
  return missing;
}

std::vector<std::string> standing_conditions(const CaseFile& file) {
  std::vector<std::string> conditions;
  for (const std::string& role : approval_roles())
    if (const Approval* last = last_statement(file, role);
        last != nullptr && !last->condition.empty() && void_because(*last, file).empty())
      conditions.push_back(last->condition + " (" + role + ")");
  return conditions;
}

}  // namespace leastharm
