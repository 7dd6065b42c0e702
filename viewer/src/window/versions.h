#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "planner/case.h"

namespace leastharm {

/// A state of the plan that the case folder remembers.
struct PlanVersion {
  std::string label;  ///< "v3-1a2b3c4d"
  CaseFile file;
};

/// The plan's former states with tracks, newest first, each plan once, the present one left out; at
/// most `most`. States that cannot be read are passed over.
[[nodiscard]] std::vector<PlanVersion> former_versions(const std::filesystem::path& root,
                                                       const CaseFile& now, std::size_t most = 12);

/// What is different between two states of a plan, in words, one line each; empty where an approval
/// of one would hold for the other.
[[nodiscard]] std::vector<std::string> plan_changes(const CaseFile& before, const CaseFile& now);

}  // namespace leastharm
