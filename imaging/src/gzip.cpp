#include "gzip.h"

#include <zlib.h>

#include <algorithm>
#include <cstdint>
#include <stdexcept>
#include <vector>

#include "parallel.h"

namespace leastharm {
namespace {

constexpr std::size_t kBlock = std::size_t{1} << 20;
constexpr int kLevel = 1;
constexpr int kRawDeflate = -15;

struct Block {
  std::string deflated;
  uLong crc = 0;
};

/// Every block but the last ends on a byte border (a full flush), so that blocks can be joined.
Block deflate_block(Content content, std::span<const std::byte> bytes, bool last) {
  z_stream stream{};
  if (deflateInit2(&stream, kLevel, Z_DEFLATED, kRawDeflate, 9, content == Content::runs ? Z_RLE : Z_DEFAULT_STRATEGY) != Z_OK)
    throw std::runtime_error("zlib cannot start");
  Block block;
  block.deflated.resize(deflateBound(&stream, bytes.size()) + 16);
  auto* from = const_cast<Bytef*>(reinterpret_cast<const Bytef*>(bytes.data()));
  stream.next_in = from;
  stream.avail_in = static_cast<uInt>(bytes.size());
  stream.next_out = reinterpret_cast<Bytef*>(block.deflated.data());
  stream.avail_out = static_cast<uInt>(block.deflated.size());
  deflate(&stream, last ? Z_FINISH : Z_FULL_FLUSH);
  block.deflated.resize(stream.total_out);
  deflateEnd(&stream);
  block.crc = crc32(0, from, static_cast<uInt>(bytes.size()));
  return block;
}

std::string little_endian(std::uint32_t value) {
  std::string text;
  for (int shift = 0; shift < 32; shift += 8) text += static_cast<char>(value >> shift & 0xff);
  return text;
}

}  // namespace

void gzip(Content content, std::initializer_list<std::span<const std::byte>> parts, const std::function<void(const std::string&)>& take) {
  // No name and no time, so that the file depends on nothing but its content; 4 = fastest, 255 = any system.
  take(std::string("\x1f\x8b\x08\0\0\0\0\0\x04\xff", 10));
  std::vector<std::span<const std::byte>> blocks;
  std::size_t size = 0;
  for (const auto part : parts) {
    size += part.size();
    for (std::size_t at = 0; at < part.size(); at += kBlock)
      blocks.push_back(part.subspan(at, std::min(kBlock, part.size() - at)));
  }
  uLong crc = crc32(0, nullptr, 0);
  // In batches, so that what waits to be written stays small.
  const std::size_t batch = 4 * worker_count();
  for (std::size_t first = 0; first < blocks.size(); first += batch) {
    std::vector<Block> done(std::min(batch, blocks.size() - first));
    for_each_item(done.size(), [&](std::size_t, std::size_t n) {
      done[n] = deflate_block(content, blocks[first + n], first + n + 1 == blocks.size());
    });
    for (std::size_t n = 0; n < done.size(); ++n) {
      take(done[n].deflated);
      crc = crc32_combine(crc, done[n].crc, static_cast<z_off_t>(blocks[first + n].size()));
    }
  }
  take(little_endian(static_cast<std::uint32_t>(crc)) + little_endian(static_cast<std::uint32_t>(size)));
}

}  // namespace leastharm
