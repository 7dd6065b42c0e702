#include "planner/text.h"

#include <array>
#include <cstdio>

namespace leastharm {

namespace {
std::string printed(const char* format, int decimals, double value) {
  std::array<char, 400> buffer{};
  std::snprintf(buffer.data(), buffer.size(), format, decimals, value);
  return buffer.data();
}
}  // namespace

std::string fixed(double value, int decimals) { return printed("%.*f", decimals, value); }

std::string brief(double value) { return printed("%.*g", 6, value); }

std::string joined(std::span<const std::string> words) {
  std::string all;
  for (const std::string& word : words) all += (all.empty() ? "" : ", ") + word;
  return all;
}

}  // namespace leastharm
