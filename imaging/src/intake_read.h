#pragma once

#include <cstdint>
#include <vector>

#include "intake_stack.h"

namespace leastharm {

/// Reads a planned volume's HU: slices on all cores, each straight into its place. Tells the error of what was
/// interpolated. Throws BadInput where a file cannot be read, naming it.
[[nodiscard]] Volume<std::int16_t> read_stack(const Scan& scan, const StackPlan& plan, std::vector<Finding>& findings);

}  // namespace leastharm
