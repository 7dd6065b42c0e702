#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "imaging/grid.h"

namespace leastharm {

/// SHA-256 (FIPS 180-4), 64 lower-case hex digits.
[[nodiscard]] std::string sha256_hex(std::string_view bytes);

/// A DICOM UID under 2.25 (a UUID as a number; PS3.5, B.2), the same for the same text.
[[nodiscard]] std::string uid_from(std::string_view text);

/// SHA-256 of a volume's grid (size, then corners in 1e-4 mm, so that a format's rounding does not matter) and of the
/// SHA-256 of each slice's values: the same volume in another file or coding has the same hash, on all cores at once.
[[nodiscard]] std::string sha256_hex(const Volume<std::int16_t>& volume);
[[nodiscard]] std::string sha256_hex(const Volume<std::uint8_t>& volume);

}  // namespace leastharm
