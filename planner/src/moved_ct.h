#pragma once

#include <filesystem>

#include "planner/case.h"

namespace leastharm {

/// Where the CT no longer lies at its place, looks for it beside the case folder by grid and hash,
/// and names its new place in `ct`. Leaves `ct` as it is where it cannot be found, or where more
/// than 20000 files lie there.
void find_moved_ct(const std::filesystem::path& case_root, CtReference& ct);

}  // namespace leastharm
