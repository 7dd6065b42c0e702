#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "imaging/error.h"

namespace leastharm {

/// A JSON file that a person gave. Throws BadInput, naming file and line, where it cannot be read, is no JSON, says a key
/// twice in one object, nests deeper than 64, or holds a number too large to read.
[[nodiscard]] nlohmann::json read_json_file(const std::filesystem::path& path);

/// Calls parse() and puts `where` and a colon before what it complains of.
template <typename Parse>
auto naming(const std::string& where, const Parse& parse) {
  try {
    return parse();
  } catch (const BadInput& fault) {
    throw BadInput(where + ": " + fault.what());
  }
}

/// Reads such a file and parses it; what `parse` complains of comes with the file's name.
template <typename Parse>
auto parse_json_file(const std::filesystem::path& path, const Parse& parse) {
  const nlohmann::json value = read_json_file(path);
  return naming(path.filename().string(), [&] { return parse(value); });
}

}  // namespace leastharm
