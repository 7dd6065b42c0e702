#pragma once

#include <cstdio>
#include <string>

namespace leastharm {

/// A length for people: two decimals, without trailing zeros.
[[nodiscard]] inline std::string mm_text(double value) {
  char text[48];
  std::snprintf(text, sizeof text, "%.2f", value == 0 ? 0.0 : value);
  std::string plain = text;
  while (plain.back() == '0') plain.pop_back();
  if (plain.back() == '.') plain.pop_back();
  return (plain == "-0" ? "0" : plain) + " mm";
}

/// "1 slice", "3 slices".
[[nodiscard]] inline std::string counted(std::size_t n, const std::string& one, const std::string& many) {
  return std::to_string(n) + " " + (n == 1 ? one : many);
}

}  // namespace leastharm
