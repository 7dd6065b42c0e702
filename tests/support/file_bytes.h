#pragma once

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

namespace leastharm::test {

inline std::string read_bytes(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

inline void write_bytes(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

}  // namespace leastharm::test
