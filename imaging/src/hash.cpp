#include "imaging/hash.h"

#include <sodium/crypto_hash_sha256.h>

#include <array>
#include <bit>
#include <cmath>

namespace leastharm {
namespace {

static_assert(std::endian::native == std::endian::little, "hashes are of little-endian values");

class Sha256 {
 public:
  Sha256() { crypto_hash_sha256_init(&state_); }
  void take(const void* data, std::size_t bytes) {
    crypto_hash_sha256_update(&state_, static_cast<const unsigned char*>(data), bytes);
  }
  std::string hex() {
    std::array<unsigned char, crypto_hash_sha256_BYTES> digest{};
    crypto_hash_sha256_final(&state_, digest.data());
    std::string text;
    for (const unsigned char byte : digest) {
      text += "0123456789abcdef"[byte >> 4];
      text += "0123456789abcdef"[byte & 15];
    }
    return text;
  }

 private:
  crypto_hash_sha256_state state_;
};

void take_grid(Sha256& hash, const Grid& grid) {
  const auto take = [&](double value) {
    const auto rounded = static_cast<std::int64_t>(std::llround(value * 1e4));
    hash.take(&rounded, sizeof rounded);
  };
  for (const int n : grid.size) take(n);
  // The corners say where the grid lies; spacing and direction follow from them.
  for (int axis = -1; axis < 3; ++axis) {
    Vec3 index = Vec3::Zero();
    if (axis >= 0) index[axis] = grid.size[static_cast<std::size_t>(axis)] - 1;
    const Vec3 corner = grid.lps_from_index(index);
    for (int n = 0; n < 3; ++n) take(corner[n]);
  }
}

template <typename T>
std::string hash_of(const Volume<T>& volume) {
  Sha256 hash;
  take_grid(hash, volume.grid);
  hash.take(volume.values.data(), volume.values.size() * sizeof(T));
  return hash.hex();
}

}  // namespace

std::string sha256_hex(std::string_view bytes) {
  Sha256 hash;
  hash.take(bytes.data(), bytes.size());
  return hash.hex();
}

std::string sha256_hex(const Volume<std::int16_t>& volume) { return hash_of(volume); }
std::string sha256_hex(const Volume<std::uint8_t>& volume) { return hash_of(volume); }

}  // namespace leastharm
