#pragma once

#include "candidates.h"

namespace leastharm {

/// The same track moved by small steps for as long as its exact figures make it cheaper: shifted, turned about its tip and its
/// entry, drawn back and sent deeper. It stays admissible, on its side, keeps what room routes have to spare, and stays as sure
/// of its yield as it was, or as routes are wished to be. The search itself knows chances and costs from fields alone.
[[nodiscard]] Assessed polished(const SearchScene& scene, const Assessor& assessor, const Assessed& start);

}  // namespace leastharm
