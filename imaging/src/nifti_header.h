#pragma once

#include <filesystem>
#include <vector>

#include "imaging/finding.h"

namespace leastharm {

/// What ITK would pass over in silence in a NIfTI-1 header: no orientation, two that disagree, units unknown.
/// The first two throw BadInput, the third is a finding.
void check_nifti_header(const std::filesystem::path& path, std::vector<Finding>& findings);

}  // namespace leastharm
