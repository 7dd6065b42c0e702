#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "intake_stack.h"

namespace leastharm {

/// A volume, its hash (imaging/hash.h), and how many of its voxels have no reading.
struct HashedVolume {
  Volume<std::int16_t> hu;
  std::string sha256;
  std::size_t no_reading = 0;
};

/// Reads a planned volume's HU: slices on all cores, each straight into its place. Tells the error of what was
/// interpolated. Throws BadInput where a file cannot be read, naming it.
[[nodiscard]] HashedVolume read_stack(const Scan& scan, const StackPlan& plan, std::vector<Finding>& findings);

}  // namespace leastharm
