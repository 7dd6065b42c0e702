#pragma once

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>
#include <string>

namespace leastharm::test {

inline std::string text_of(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream text;
  text << stream.rdbuf();
  return text.str();
}

/// What is wrong with a BagIt 1.0 bag; empty where it is complete and valid (RFC 8493, sections 2
/// and 3). The hashes are worked out by coreutils' sha256sum.
inline std::string bag_faults(const std::filesystem::path& bag) {
  namespace fs = std::filesystem;
  if (text_of(bag / "bagit.txt") != "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    return "bagit.txt";
  std::set<std::string> listed, there;
  std::uintmax_t bytes = 0;
  std::istringstream manifest(text_of(bag / "manifest-sha256.txt"));
  for (std::string line; std::getline(manifest, line);) {
    if (line.size() < 67 || line.substr(64, 2) != "  ") return "manifest line: " + line;
    std::string name = line.substr(66);
    for (std::size_t at = 0; (at = name.find("%25", at)) != std::string::npos; ++at)
      name.replace(at, 3, "%");
    if (!listed.insert(name).second) return "listed twice: " + name;
    std::ofstream(bag.string() + ".sum") << line.substr(0, 66) << (bag / name).string() << "\n";
    if (std::system(("sha256sum --status -c '" + bag.string() + ".sum'").c_str()) != 0)
      return "hash of " + name;
  }
  fs::remove(bag.string() + ".sum");
  for (const auto& entry : fs::recursive_directory_iterator(bag / "data"))
    if (entry.is_regular_file())
      there.insert(fs::relative(entry.path(), bag).generic_string()), bytes += entry.file_size();
  if (listed != there) return "the manifest lists other files than data/ holds";
  const std::string oxum =
      "Payload-Oxum: " + std::to_string(bytes) + "." + std::to_string(there.size()) + "\n";
  if (text_of(bag / "bag-info.txt").find(oxum) == std::string::npos) return "Payload-Oxum";
  if (std::system(
          ("cd '" + bag.string() + "' && sha256sum --status --strict -c tagmanifest-sha256.txt")
              .c_str()) != 0)
    return "tag manifest";
  return "";
}

}  // namespace leastharm::test
