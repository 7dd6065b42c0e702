#pragma once

#include <span>
#include <string>
#include <string_view>

namespace leastharm {

/// The candidate with the least edit distance to `word`, where a candidate that holds all of `word` counts as one edit
/// away (ties: the first); empty where there are no candidates. For messages about unknown names.
[[nodiscard]] std::string nearest_name(std::string_view word, std::span<const std::string> candidates);

/// Insertions, deletions, replacements and swaps of neighbours that turn one word into the other.
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b);

}  // namespace leastharm
