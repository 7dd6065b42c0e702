#include "imaging/hash.h"

#include <openssl/sha.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <span>
#include <vector>

#include "parallel.h"
#include "slice_hash.h"

namespace leastharm {
namespace {

static_assert(std::endian::native == std::endian::little, "hashes are of little-endian values");

std::string hex(const Digest& digest) {
  std::string text;
  for (const unsigned char byte : digest) {
    text += "0123456789abcdef"[byte >> 4];
    text += "0123456789abcdef"[byte & 15];
  }
  return text;
}

Digest digest_of(const void* data, std::size_t bytes) {
  Digest digest;
  SHA256(static_cast<const unsigned char*>(data), bytes, digest.data());
  return digest;
}

/// Decimal digits of a 128-bit number given as big-endian bytes.
std::string decimal_digits(std::array<unsigned char, 16> number) {
  std::string digits;
  while (std::any_of(number.begin(), number.end(), [](unsigned char b) { return b != 0; })) {
    unsigned remainder = 0;
    for (unsigned char& byte : number) {
      const unsigned value = remainder * 256 + byte;
      byte = static_cast<unsigned char>(value / 10);
      remainder = value % 10;
    }
    digits += static_cast<char>('0' + remainder);
  }
  return {digits.rbegin(), digits.rend()};
}

/// Size and corners, in tenths of a micrometre: spacing and direction follow from them.
std::vector<std::int64_t> grid_numbers(const Grid& grid) {
  std::vector<std::int64_t> numbers(grid.size.begin(), grid.size.end());
  for (int axis = -1; axis < 3; ++axis) {
    Vec3 index = Vec3::Zero();
    if (axis >= 0) index[axis] = grid.size[static_cast<std::size_t>(axis)] - 1;
    const Vec3 corner = grid.lps_from_index(index);
    for (int n = 0; n < 3; ++n) numbers.push_back(std::llround(corner[n] * 1e4));
  }
  return numbers;
}

template <typename T>
std::string hash_of(const Volume<T>& volume) {
  std::vector<Digest> slices(static_cast<std::size_t>(std::max(volume.grid.size[2], 0)));
  const std::size_t size = slices.empty() ? 0 : volume.values.size() / slices.size();
  for_each_item(slices.size(), [&](std::size_t, std::size_t k) {
    slices[k] = slice_digest(std::as_bytes(std::span(volume.values).subspan(k * size, size)));
  });
  return volume_hash(volume.grid, slices);
}

}  // namespace

Digest slice_digest(std::span<const std::byte> values) { return digest_of(values.data(), values.size()); }

std::string volume_hash(const Grid& grid, const std::vector<Digest>& slices) {
  const std::vector<std::int64_t> numbers = grid_numbers(grid);
  std::string all(reinterpret_cast<const char*>(numbers.data()), numbers.size() * sizeof(std::int64_t));
  for (const Digest& slice : slices) all.append(reinterpret_cast<const char*>(slice.data()), slice.size());
  return sha256_hex(all);
}

std::string sha256_hex(std::string_view bytes) { return hex(digest_of(bytes.data(), bytes.size())); }

std::string uid_from(std::string_view text) {
  const Digest digest = digest_of(text.data(), text.size());
  std::array<unsigned char, 16> uuid{};
  std::copy_n(digest.begin(), uuid.size(), uuid.begin());
  // RFC 4122: a UUID made from a hash carries version 5 and the variant bits.
  uuid[6] = static_cast<unsigned char>((uuid[6] & 0x0f) | 0x50);
  uuid[8] = static_cast<unsigned char>((uuid[8] & 0x3f) | 0x80);
  return "2.25." + decimal_digits(uuid);
}

std::string sha256_hex(const Volume<std::int16_t>& volume) { return hash_of(volume); }
std::string sha256_hex(const Volume<std::uint8_t>& volume) { return hash_of(volume); }

}  // namespace leastharm
