#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>

namespace leastharm {

/// A JSON file that a person gave. Throws BadInput, naming file and line, where it cannot be read, is no JSON, says a key
/// twice in one object, nests deeper than 64, or holds a number too large to read.
[[nodiscard]] nlohmann::json read_json_file(const std::filesystem::path& path);

}  // namespace leastharm
