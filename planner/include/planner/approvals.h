#pragma once

#include <string>
#include <vector>

#include "planner/case.h"

namespace leastharm {

/// Roles that may speak, and those without whose yes nothing is approved.
[[nodiscard]] const std::vector<std::string>& approval_roles();
[[nodiscard]] const std::vector<std::string>& needed_roles();

/// The last statement of a role; null where it never spoke.
[[nodiscard]] const Approval* last_statement(const CaseFile& file, const std::string& role);
/// Why a statement no longer counts: "changed since: marks", or what voided it; empty where it counts.
[[nodiscard]] std::string void_because(const Approval& approval, const CaseFile& file);

/// What keeps the plan from being approved, one text a role that is needed: "approval of committee: missing". Empty
/// where all have said yes to the plan as it stands.
[[nodiscard]] std::vector<std::string> missing_approvals(const CaseFile& file);
/// Conditions under which the last statements were given, each with its role; only those that count.
[[nodiscard]] std::vector<std::string> standing_conditions(const CaseFile& file);

}  // namespace leastharm
