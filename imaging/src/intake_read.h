#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "intake_stack.h"

namespace leastharm {

/// A volume and its hash (imaging/hash.h).
struct HashedVolume {
  Volume<std::int16_t> hu;
  std::string sha256;
};

/// Reads a planned volume's HU: slices on all cores, each straight into its place. Tells the error of what was
/// interpolated. Throws BadInput where a file cannot be read, naming it.
[[nodiscard]] HashedVolume read_stack(const Scan& scan, const StackPlan& plan, std::vector<Finding>& findings);

}  // namespace leastharm
