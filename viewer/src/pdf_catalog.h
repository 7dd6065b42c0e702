#pragma once

#include <string>

namespace leastharm {

/// The PDF with its document language set and its title shown in the reader's title bar, added as
/// an incremental update (ISO 32000-1, 7.5.6): cairo 1.16 offers no call for either.
[[nodiscard]] std::string with_language(std::string pdf, const std::string& language);

}  // namespace leastharm
