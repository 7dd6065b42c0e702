#include "planner/text.h"

#include <array>
#include <cmath>
#include <cstdio>

namespace leastharm {

namespace {
std::string printed(const char* format, int decimals, double value) {
  std::array<char, 400> buffer{};
  std::snprintf(buffer.data(), buffer.size(), format, decimals, value);
  return buffer.data();
}
}  // namespace

std::string fixed(double value, int decimals) {
  const std::string text = printed("%.*f", decimals, value);
  const bool is_zero = text.find_first_of("123456789") == std::string::npos && std::isfinite(value);
  return is_zero && text.starts_with('-') ? text.substr(1) : text;   // no "-0.00"
}

std::string brief(double value) { return printed("%.*g", 6, value); }

std::string joined(std::span<const std::string> words) {
  std::string all;
  for (const std::string& word : words) all += (all.empty() ? "" : ", ") + word;
  return all;
}

}  // namespace leastharm
