#pragma once

#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "viewer/command_line.h"

namespace leastharm::test {

/// What a command answered.
struct Answer {
  int status = 0;
  std::string out, err;
  [[nodiscard]] nlohmann::json json() const { return nlohmann::json::parse(out); }
};

inline Answer run(const std::vector<std::string>& arguments) {
  std::ostringstream out, err;
  Answer answer;
  answer.status = run_command_line(arguments, out, err);
  answer.out = out.str();
  answer.err = err.str();
  return answer;
}

/// Every file below a folder with its content: to prove that nothing changed.
inline std::map<std::string, std::string> snapshot(const std::filesystem::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    std::ifstream stream(entry.path(), std::ios::binary);
    files[std::filesystem::relative(entry.path(), folder).string()] = {std::istreambuf_iterator<char>(stream), {}};
  }
  return files;
}

}  // namespace leastharm::test
