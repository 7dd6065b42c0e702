#include "text_header.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <fstream>

#include "imaging/error.h"

namespace leastharm {

void refuse_file(const std::filesystem::path& path, const std::string& why) {
  throw BadInput(path.string() + ": " + why);
}

std::string first_bytes(const std::filesystem::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::string bytes(131072, '\0');
  stream.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  bytes.resize(static_cast<std::size_t>(std::max<std::streamsize>(stream.gcount(), 0)));
  if (bytes.empty()) refuse_file(path, "it is empty or cannot be read");
  return bytes;
}

std::vector<double> numbers_in(const std::string& text) {
  std::vector<double> numbers;
  for (std::size_t at = 0; at < text.size();) {
    const auto word = text.find_first_not_of(" \t,()\r", at);
    if (word == std::string::npos) break;
    at = std::min(text.find_first_of(" \t,()\r", word), text.size());
    double value = std::nan("");
    const char* first = text.data() + word + (text[word] == '+' ? 1 : 0);
    if (std::from_chars(first, text.data() + at, value).ptr != text.data() + at) value = std::nan("");
    numbers.push_back(value);
  }
  return numbers;
}

std::string lower_case(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

std::string trimmed_text(const std::string& text) {
  const auto first = text.find_first_not_of(" \t\r");
  return first == std::string::npos ? "" : text.substr(first, text.find_last_not_of(" \t\r") + 1 - first);
}

ValueType value_type(const std::filesystem::path& path, const std::map<std::string, ValueType>& names,
                     const std::string& name) {
  const auto found = names.find(name);
  if (found == names.end()) refuse_file(path, "voxels of type \"" + name.substr(0, 40) + "\" are not read here");
  return found->second;
}

std::filesystem::path data_file_beside(const std::filesystem::path& path, const std::string& name) {
  const auto file = path.parent_path() / name;
  std::error_code error;
  if (!std::filesystem::is_regular_file(file, error))
    refuse_file(path, "its voxels lie in another file (" + name.substr(0, 80) + "), which is not there");
  return file;
}

std::array<long, 3> three_sizes(const std::filesystem::path& path, const std::vector<double>& values) {
  if (values.size() != 3) refuse_file(path, "it has not three dimensions; give one volume");
  std::array<long, 3> size{};
  for (std::size_t n = 0; n < 3; ++n) {
    if (!(values[n] >= 1 && values[n] <= 65535) || values[n] != std::floor(values[n]))
      refuse_file(path, "a side of its volume has no sound number of voxels");
    size[n] = static_cast<long>(values[n]);
  }
  return size;
}

}  // namespace leastharm
