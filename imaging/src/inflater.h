#pragma once

#include <zlib.h>

#include <array>
#include <cstddef>
#include <functional>

namespace leastharm {

/// Unpacks a deflate stream piece by piece.
class Inflater {
 public:
  enum class Wrapping { none, zlib_or_gzip };
  /// Fills a buffer with the next packed bytes; returns how many, 0 at the end.
  using Source = std::function<std::size_t(void* to, std::size_t most)>;

  Inflater(Source source, Wrapping wrapping);
  ~Inflater() { inflateEnd(&stream_); }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  /// Unpacks up to `most` bytes; fewer where the stream ends, breaks off or is damaged.
  std::size_t read(void* to, std::size_t most);

 private:
  bool refill();
  bool next_member();

  Source source_;
  Wrapping wrapping_;
  z_stream stream_{};
  std::array<Bytef, 65536> packed_{};
  bool ended_ = false;
};

}  // namespace leastharm
