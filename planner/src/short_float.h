#pragma once

#include <bit>
#include <cstdint>

namespace leastharm {

/// The upper half of a float, within 1/512 of the value: for large fields that are read far more often than written.
class ShortFloat {
 public:
  ShortFloat() = default;
  /// Rounded to the nearest.
  explicit ShortFloat(float value) : bits_(static_cast<std::uint16_t>((std::bit_cast<std::uint32_t>(value) + 0x8000u) >> 16)) {}
  /// Rounded down; `value` is not negative.
  [[nodiscard]] static ShortFloat not_above(float value) {
    ShortFloat rounded;
    rounded.bits_ = static_cast<std::uint16_t>(std::bit_cast<std::uint32_t>(value) >> 16);
    return rounded;
  }
  explicit operator float() const { return std::bit_cast<float>(static_cast<std::uint32_t>(bits_) << 16); }

  /// Of values that are not negative.
  friend bool operator<(ShortFloat a, ShortFloat b) { return a.bits_ < b.bits_; }

 private:
  std::uint16_t bits_ = 0;
};

}  // namespace leastharm
