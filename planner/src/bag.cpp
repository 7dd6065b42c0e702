#include "planner/bag.h"

#include <algorithm>
#include <fstream>
#include <sstream>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/whole_file.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

std::string read_bytes(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream bytes;
  bytes << stream.rdbuf();
  if (!stream) throw BadInput("cannot read " + path.string());
  return bytes.str();
}

/// RFC 8493, 2.1.3: line ends and per cent signs in names are written as their codes.
std::string manifest_name(const std::string& name) {
  std::string out;
  for (const char c : name) {
    if (c == '%')
      out += "%25";
    else if (c == '\n')
      out += "%0A";
    else if (c == '\r')
      out += "%0D";
    else
      out += c;
  }
  return out;
}

std::string manifest_line(const fs::path& root, const std::string& name) {
  return sha256_hex(std::string_view(read_bytes(root / name))) + "  " + manifest_name(name) + "\n";
}

/// One line a label: RFC 8493, 2.2.2 lets values go on over lines, but one line reads more surely.
std::string one_line(std::string text) {
  std::ranges::replace(text, '\n', ' ');
  std::ranges::replace(text, '\r', ' ');
  return text;
}

}  // namespace

Bag::Bag(fs::path place) : place_(std::move(place)), beside_(place_.string() + ".part") {
  if (fs::exists(place_))
    throw BadInput(place_.string() + " is there already: name a new folder for the archive");
  std::error_code error;
  fs::remove_all(beside_, error);
  fs::create_directories(beside_ / "data", error);
  if (error) throw BadInput("cannot make the folder " + place_.string() + ": " + error.message());
}

Bag::~Bag() {
  std::error_code ignored;
  if (!finished_) fs::remove_all(beside_, ignored);
}

fs::path Bag::place_for(const std::string& name) {
  const std::string inside = "data/" + fs::path(name).lexically_normal().generic_string();
  if (name.empty() || fs::path(name).is_absolute() || inside.starts_with("data/.."))
    throw BadInput("the archive cannot hold a file named \"" + name + "\"");
  if (std::ranges::find(names_, inside) != names_.end())
    throw BadInput("the archive holds \"" + name + "\" already");
  names_.push_back(inside);
  fs::create_directories((beside_ / inside).parent_path());
  return beside_ / inside;
}

void Bag::add_text(const std::string& name, std::string_view bytes) {
  write_whole(place_for(name), bytes);
}

void Bag::add_file(const std::string& name, const fs::path& from) {
  add_text(name, read_bytes(from));
}

void Bag::finish(const std::vector<std::pair<std::string, std::string>>& info) {
  std::ranges::sort(names_);
  std::string manifest;
  std::uintmax_t bytes = 0;
  for (const std::string& name : names_) {
    manifest += manifest_line(beside_, name);
    bytes += fs::file_size(beside_ / name);
  }
  std::string about;
  for (const auto& [label, value] : info) about += label + ": " + one_line(value) + "\n";
  about += "Payload-Oxum: " + std::to_string(bytes) + "." + std::to_string(names_.size()) + "\n";
  write_whole(beside_ / "bagit.txt",
              std::string_view("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"));
  write_whole(beside_ / "manifest-sha256.txt", manifest);
  write_whole(beside_ / "bag-info.txt", about);
  std::string tags;
  for (const char* name : {"bag-info.txt", "bagit.txt", "manifest-sha256.txt"})
    tags += manifest_line(beside_, name);
  write_whole(beside_ / "tagmanifest-sha256.txt", tags);
  fs::rename(beside_, place_);
  finished_ = true;
}

}  // namespace leastharm
