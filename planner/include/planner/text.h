#pragma once

#include <span>
#include <string>

namespace leastharm {

/// A number with a fixed count of decimals: "5.0".
[[nodiscard]] std::string fixed(double value, int decimals = 1);
/// A number as short as it goes: "5", "0.25".
[[nodiscard]] std::string brief(double value);
/// "a, b, c".
[[nodiscard]] std::string joined(std::span<const std::string> words);

}  // namespace leastharm
