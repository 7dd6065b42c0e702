#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <iomanip>
#include <numeric>
#include <sstream>

#include "commands.h"
#include "imaging/error.h"
#include "planner/json_file.h"

namespace leastharm {

std::vector<double> numbers_from(const std::string& text, std::size_t count, std::string_view option) {
  const auto fail = [&]() {
    throw BadInput(std::string(option) + " \"" + text + "\": " + std::to_string(count) +
                   " finite numbers are needed, with commas between and no spaces; a negative first one needs the form " +
                   std::string(option) + "=-1,2,3");
  };
  std::vector<double> numbers;
  const char* at = text.data();
  const char* end = at + text.size();
  while (true) {
    if (at != end && *at == '+') ++at;
    double value = 0;
    const auto [next, error] = std::from_chars(at, end, value);
    if (error != std::errc{} || !std::isfinite(value)) fail();
    numbers.push_back(value);
    if (next == end) break;
    if (*next != ',') fail();
    at = next + 1;
  }
  if (numbers.size() != count) fail();
  return numbers;
}

Vec3 point_from(const std::string& text, std::string_view option) {
  const auto n = numbers_from(text, 3, option);
  return {n[0], n[1], n[2]};
}

nlohmann::json json_from_file(const std::filesystem::path& path) { return read_json_file(path); }

std::string time_now() {
  std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  if (const char* still = std::getenv("SOURCE_DATE_EPOCH")) now = std::atoll(still);
  std::tm utc{};
  gmtime_r(&now, &utc);
  std::ostringstream text;
  text << std::put_time(&utc, "%Y-%m-%dT%H:%M:%SZ");
  return text.str();
}

nlohmann::json to_json(const std::vector<Finding>& findings) {
  nlohmann::json list = nlohmann::json::array();
  for (const Finding& f : findings) list.push_back({{"level", name_of(f.level)}, {"what", f.what}});
  return list;
}

void print_findings(std::ostream& out, const std::vector<Finding>& findings) {
  for (const Finding& f : findings) out << "  " << name_of(f.level) << ": " << f.what << "\n";
}

std::string nearest_word(const std::string& word, const std::vector<std::string>& words) {
  const auto distance = [&](const std::string& other) {
    std::vector<std::size_t> row(other.size() + 1);
    std::iota(row.begin(), row.end(), 0u);
    for (std::size_t a = 1; a <= word.size(); ++a) {
      std::size_t diagonal = row[0]++;
      for (std::size_t b = 1; b <= other.size(); ++b) {
        const std::size_t change = diagonal + (word[a - 1] != other[b - 1] ? 1 : 0);
        diagonal = row[b];
        row[b] = std::min({row[b] + 1, row[b - 1] + 1, change});
      }
    }
    return row.back();
  };
  std::string best;
  std::size_t least = std::max<std::size_t>(3, word.size() / 2);
  for (const std::string& other : words)
    if (const std::size_t d = distance(other); d < least) least = d, best = other;
  return best;
}

RequestFile request_of(const CaseFile& file) { return file.request.value_or(RequestFile{}); }

Assessment assess_plan(const CaseFolder& folder, const OpenedCase& volumes, std::uint64_t seed) {
  if (folder.file.plan.tracks.empty())
    throw BadInput("the case has no tracks yet: find some with  leastharm propose --case " + folder.root().string() +
                   " --request FILE, or assess your own with --tracks FILE");
  return assess(volumes.body, request_of(folder.file), folder.file.plan.tracks, seed);
}

}  // namespace leastharm
