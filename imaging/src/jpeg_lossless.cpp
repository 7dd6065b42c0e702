#include "jpeg_lossless.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

#include "dicom_bytes.h"

namespace leastharm {
namespace {

[[noreturn]] void damaged() { throw Unreadable("has damaged compressed pixels"); }

unsigned byte_at(std::string_view stream, std::size_t at) {
  if (at >= stream.size()) damaged();
  return static_cast<unsigned char>(stream[at]);
}

unsigned word_at(std::string_view stream, std::size_t at) {
  return byte_at(stream, at) << 8 | byte_at(stream, at + 1);
}

/// A Huffman table (T.81, Annex C), spread so that the next 16 bits give symbol and length at once.
class Huffman {
 public:
  Huffman() = default;
  Huffman(std::string_view stream, std::size_t at) : entries_(65536) {
    std::size_t code = 0, symbol_at = at + 16;
    for (unsigned length = 1; length <= 16; ++length) {
      for (unsigned n = byte_at(stream, at + length - 1); n > 0; --n, ++code, ++symbol_at) {
        const unsigned symbol = byte_at(stream, symbol_at);
        const std::size_t first = code << (16 - length), end = (code + 1) << (16 - length);
        if (end > entries_.size() || symbol > 16) damaged();
        for (std::size_t e = first; e < end; ++e)
          entries_[e] = {static_cast<std::uint8_t>(symbol), static_cast<std::uint8_t>(length)};
      }
      code <<= 1;
    }
    size_ = symbol_at - at;
  }
  struct Entry {
    std::uint8_t symbol = 0, length = 0;   ///< length 0: no code begins so
  };
  [[nodiscard]] bool defined() const { return !entries_.empty(); }
  [[nodiscard]] Entry find(unsigned bits16) const { return entries_[bits16]; }
  [[nodiscard]] std::size_t size() const { return size_; }

 private:
  std::vector<Entry> entries_;
  std::size_t size_ = 0;
};

/// The entropy-coded bits of a scan, most significant first, without stuffed zeros.
class Bits {
 public:
  Bits(std::string_view stream, std::size_t at) : stream_(stream), at_(at) {}

  unsigned peek16() {
    while (count_ < 16) {
      window_ = window_ << 8 | next_byte();
      count_ += 8;
    }
    return static_cast<unsigned>(window_ >> (count_ - 16)) & 0xffff;
  }
  void skip(unsigned bits) { count_ -= bits; }
  unsigned take(unsigned bits) {
    const unsigned value = bits == 0 ? 0 : peek16() >> (16 - bits);
    skip(bits);
    return value;
  }
  /// Goes on behind the next restart marker.
  void restart() {
    window_ = 0;
    count_ = 0;
    padding_ = 0;
    if (byte_at(stream_, at_) != 0xff || (byte_at(stream_, at_ + 1) & 0xf8) != 0xd0) damaged();
    at_ += 2;
  }

 private:
  /// Zeros at a marker: a reader may look a few bits ahead, but not live on them.
  unsigned next_byte() {
    const unsigned byte = at_ < stream_.size() ? byte_at(stream_, at_) : 0xff;
    const bool marker = byte == 0xff && (at_ + 1 >= stream_.size() || byte_at(stream_, at_ + 1) != 0);
    if (marker) {
      if (++padding_ > 4) damaged();
      return 0;
    }
    at_ += byte == 0xff ? 2 : 1;
    return byte;
  }

  std::string_view stream_;
  std::size_t at_;
  std::uint64_t window_ = 0;
  unsigned count_ = 0, padding_ = 0;
};

/// What the stream's segments say before its samples.
struct Stream {
  std::array<Huffman, 4> tables;
  int precision = 0, columns = 0, rows = 0;
  unsigned restart_interval = 0, table = 0, predictor = 0, point_transform = 0;
  std::size_t samples_at = 0;
};

void read_tables(std::string_view stream, std::size_t at, std::size_t end, Stream& header) {
  while (at < end) {
    const unsigned which = byte_at(stream, at);
    if (which > 3) damaged();   // class 0 only: there are no AC tables here
    header.tables[which] = Huffman(stream, at + 1);
    at += 1 + header.tables[which].size();
  }
}

void read_scan(std::string_view stream, std::size_t at, Stream& header) {
  if (byte_at(stream, at) != 1) throw Unreadable("has compressed pixels of several components");
  header.table = byte_at(stream, at + 2) >> 4;
  header.predictor = byte_at(stream, at + 3);
  header.point_transform = byte_at(stream, at + 5) & 15;
}

Stream read_header(std::string_view stream) {
  Stream header;
  if (word_at(stream, 0) != 0xffd8) damaged();
  for (std::size_t at = 2; header.samples_at == 0;) {
    const unsigned marker = word_at(stream, at);
    const std::size_t body = at + 4, end = at + 2 + word_at(stream, at + 2);
    if (marker == 0xffff) {   // fill byte
      ++at;
      continue;
    }
    if (marker == 0xffc4) read_tables(stream, body, end, header);
    if (marker == 0xffdd) header.restart_interval = word_at(stream, body);
    if (marker == 0xffc3) {
      header.precision = static_cast<int>(byte_at(stream, body));
      header.rows = static_cast<int>(word_at(stream, body + 1));
      header.columns = static_cast<int>(word_at(stream, body + 3));
    } else if (marker >= 0xffc0 && marker <= 0xffcf && marker != 0xffc4 && marker != 0xffc8 && marker != 0xffcc) {
      throw Unreadable("has JPEG pixels that are not lossless");
    }
    if (marker == 0xffda) {
      read_scan(stream, body, header);
      header.samples_at = end;
    }
    if (end < body || marker < 0xff00) damaged();
    at = end;
  }
  return header;
}

int difference(Bits& bits, const Huffman& table) {
  const Huffman::Entry entry = table.find(bits.peek16());
  if (entry.length == 0) damaged();
  bits.skip(entry.length);
  if (entry.symbol == 16) return 32768;
  const int value = static_cast<int>(bits.take(entry.symbol));
  const int half = entry.symbol == 0 ? 0 : 1 << (entry.symbol - 1);
  return value < half ? value - 2 * half + 1 : value;
}

/// T.81, Table H.1: from the samples to the left (a), above (b), and above left (c).
int predicted(unsigned predictor, int a, int b, int c) {
  switch (predictor) {
    case 1: return a;
    case 2: return b;
    case 3: return c;
    case 4: return a + b - c;
    case 5: return a + ((b - c) >> 1);
    case 6: return b + ((a - c) >> 1);
    case 7: return (a + b) >> 1;
    default: damaged();
  }
}

}  // namespace

void decode_jpeg_lossless(std::string_view stream, int columns, int rows, std::span<std::uint16_t> stored) {
  const Stream header = read_header(stream);
  if (header.columns != columns || header.rows != rows || header.precision < 2 || header.precision > 16 ||
      stored.size() != static_cast<std::size_t>(columns) * static_cast<std::size_t>(rows))
    throw Unreadable("has compressed pixels of another size than its header says");
  if (header.table > 3 || !header.tables[header.table].defined() || header.point_transform >= 16) damaged();
  const Huffman& table = header.tables[header.table];
  const auto width = static_cast<std::size_t>(columns);
  const int start = 1 << std::max(0, header.precision - static_cast<int>(header.point_transform) - 1);
  Bits bits(stream, header.samples_at);
  std::size_t first_row = 0;   // of the restart interval: its samples know nothing above
  for (std::size_t n = 0; n < stored.size(); ++n) {
    const std::size_t row = n / width, column = n % width;
    if (header.restart_interval > 0 && n > 0 && n % header.restart_interval == 0) {
      if (column != 0) throw Unreadable("has JPEG pixels with restarts within a row, which are not read here");
      bits.restart();
      first_row = row;
    }
    int guess = start;
    if (row == first_row) guess = column == 0 ? start : stored[n - 1];
    else if (column == 0) guess = stored[n - width];
    else guess = predicted(header.predictor, stored[n - 1], stored[n - width], stored[n - width - 1]);
    stored[n] = static_cast<std::uint16_t>(guess + difference(bits, table));
  }
  if (header.point_transform > 0)
    for (std::uint16_t& value : stored) value = static_cast<std::uint16_t>(value << header.point_transform);
}

}  // namespace leastharm
