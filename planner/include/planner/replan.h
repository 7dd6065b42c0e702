#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "planner/transfer.h"

namespace leastharm {

/// What became of one mark when a new case was begun on the day's CT.
struct CarriedMark {
  std::string name;
  std::string how;   ///< "carried", "found anew in the day's map"; or why it was left out
  bool kept = true;
};

/// A new case on the day's CT, with everything that people said about the object: to be searched, printed and approved
/// anew.
struct NewCase {
  CaseFolder folder;
  std::vector<CarriedMark> marks;
  std::vector<Finding> findings;
};

/// Begins a case in `root` on the day's CT. The map is made anew; where the registration keeps to the limits, what people
/// corrected is laid over it. Marks are carried by the registration, but those that were defined by a material or by what
/// hangs together are found anew in the new map; dense objects are protected anew, and waivers fall away. The confirmed
/// frame, the request (needles, weights, limits, dossier) and the object's identity are carried. No tracks, approvals or
/// samples are. The first record says which plan it came from. Throws BadInput where `root` holds a case already;
/// nothing is saved: that is the caller's (`folder.save()`).
[[nodiscard]] NewCase begin_on_the_day(const CaseFolder& planned, const OpenedCase& planning, CtVolume day,
                                       const std::filesystem::path& day_path, const Registration& registration,
                                       const TransferLimits& limits, const std::filesystem::path& root,
                                       const std::string& at);

[[nodiscard]] nlohmann::json to_json(const std::vector<CarriedMark>& marks);

}  // namespace leastharm
