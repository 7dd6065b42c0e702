#pragma once

#include <cstdint>
#include <string_view>

namespace leastharm {

/// Random numbers by name and count: the same (seed, stream, counter) gives the same number on any thread, in any
/// order. The mixing function is splitmix64's (Steele, Lea and Flood 2014), chained over the three words.
[[nodiscard]] std::uint64_t random_bits(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter);
/// In the open interval (0, 1).
[[nodiscard]] double random_uniform(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter);
/// Standard normal.
[[nodiscard]] double random_normal(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter);

/// A stream's number from its name (FNV-1a).
[[nodiscard]] std::uint64_t stream_named(std::string_view name);

/// Distribution function of the standard normal.
[[nodiscard]] double normal_cdf(double x);
/// Its inverse, p in (0, 1). Source: Wichura, algorithm AS 241, 1988; relative accuracy about 1e-16.
[[nodiscard]] double normal_quantile(double p);

}  // namespace leastharm
