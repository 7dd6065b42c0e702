#pragma once

#include <string>
#include <string_view>

namespace leastharm {

/// Text from a file as it may be shown and written into JSON: what is no UTF-8 (RFC 3629) or a control character
/// becomes "?".
[[nodiscard]] std::string plain_text(std::string_view text);

}  // namespace leastharm
