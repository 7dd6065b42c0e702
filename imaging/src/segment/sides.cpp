#include "sides.h"

#include <algorithm>

#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::uint8_t kSolid = 0x06;   ///< of a material's bits: none is set in air and fibre, where a side can spread
static_assert(label(Material::air) == 0 && label(Material::wrapping) == 1);

bool passable(std::uint8_t c) { return (c & kSolid) == 0; }

/// Calls work(i) for each voxel of a row through which a side can spread, and which has none.
template <typename Work>
void for_lacking(const std::uint8_t* row, int width, const Work& work) {
  for_each_of(row, width, kSolid | code::kSide, 0, work);
}

bool lacks(const std::uint8_t* row, int width) {
  bool any = false;
  for_lacking(row, width, [&](int) { any = true; });
  return any;
}

/// Takes over the neighbours' side along a row, to the right (`step` 1) or from its end to the left (-1).
void spread(std::uint8_t* row, int width, int step) {
  std::uint8_t* v = step > 0 ? row : row + width - 1;
  std::uint8_t side = 0;
  for (int left = width; left > 0; --left, v += step) {
    if (!passable(*v)) {
      side = 0;
    } else if (*v & code::kSide) {
      side = *v & code::kSide;
    } else {
      *v = static_cast<std::uint8_t>(*v | side);
    }
    while (left > 8 && eight_at(step > 0 ? v + 1 : v - 8) == eight_of(*v)) v += 8 * step, left -= 8;   // nothing changes
  }
}

/// Takes over the side of the voxels just above or below.
void spread_rows(const std::uint8_t* from, std::uint8_t* to, int width) {
  for (int i = 0; i < width; ++i) {
    const bool takes = passable(from[i]) && passable(to[i]) && !(to[i] & code::kSide);
    to[i] = static_cast<std::uint8_t>(to[i] | (takes ? from[i] & code::kSide : 0));
  }
}

void spread_slice(std::uint8_t* slice, int width, int height) {
  const auto row = [&](int j) { return slice + static_cast<std::ptrdiff_t>(j) * width; };
  for (int round = 0; round < 2; ++round) {
    for (int j = 0; j < height; ++j) {
      if (!lacks(row(j), width)) continue;
      spread(row(j), width, 1);
      spread(row(j), width, -1);
    }
    for (int j = 1; j < height; ++j)
      if (lacks(row(j), width)) spread_rows(row(j - 1), row(j), width);
    for (int j = height - 2; j >= 0; --j)
      if (lacks(row(j), width)) spread_rows(row(j + 1), row(j), width);
  }
}

/// Takes over the blocks' sides along one row.
void take_sides(const std::uint8_t* blocks, int factor, int width, std::uint8_t* row) {
  for (int first = 0; first < width; first += factor, ++blocks)
    for (int i = first; i < std::min(width, first + factor); ++i)
      if (passable(row[i])) row[i] = static_cast<std::uint8_t>(row[i] | *blocks);
}

/// The flags of blocks on a clear side.
std::vector<std::uint8_t> clear_sides(const std::vector<Side>& sides) {
  std::vector<std::uint8_t> clear(sides.size());
  for (std::size_t v = 0; v < sides.size(); ++v)
    clear[v] = sides[v] == Side::wall ? 0 : sides[v] == Side::inside ? code::kInside : code::kOutside;
  return clear;
}

/// What the voxels of a block of wall count as when nothing clear can be reached: the commonest side among its neighbours.
std::uint8_t likely_side(const Coarse& coarse, const std::vector<Side>& sides, int i, int j, int k) {
  int balance = 0, seen = 0;
  for (int reach = 1; reach <= 3 && seen == 0; ++reach)
    for (int c = std::max(0, k - reach); c <= std::min(coarse.size[2] - 1, k + reach); ++c)
      for (int b = std::max(0, j - reach); b <= std::min(coarse.size[1] - 1, j + reach); ++b)
        for (int a = std::max(0, i - reach); a <= std::min(coarse.size[0] - 1, i + reach); ++a) {
          const Side s = sides[coarse.offset(a, b, c)];
          if (s == Side::wall) continue;
          ++seen;
          balance += s == Side::inside ? 1 : -1;
        }
  return balance > 0 || seen == 0 ? code::kInside : code::kOutside;
}

}  // namespace

void flag_sides(const Coarse& coarse, const std::vector<Side>& sides, int threads, Volume<std::uint8_t>& codes) {
  const std::vector<std::uint8_t> clear = clear_sides(sides);
  const auto [width, height, depth] = codes.grid.size;
  for_chunks(depth, coarse.factor[2], threads, [&, w = width, h = height](int layer, int first, int last) {
    const auto block_row = [&](int j) { return coarse.offset(0, j / coarse.factor[1], layer); };
    std::vector<std::uint8_t> likely(coarse.offset(0, 0, 1));   // of this layer's blocks, where known
    for (int k = first; k < last; ++k) {
      const auto row = [&](int j) { return codes.values.data() + codes.grid.offset(0, j, k); };
      for (int j = 0; j < h; ++j) take_sides(&clear[block_row(j)], coarse.factor[0], w, row(j));
      spread_slice(row(0), w, h);
      for (int j = 0; j < h; ++j)
        for_lacking(row(j), w, [&](int i) {
          const int a = i / coarse.factor[0], b = j / coarse.factor[1];
          std::uint8_t& side = likely[coarse.offset(a, b, 0)];
          if (side == 0) side = likely_side(coarse, sides, a, b, layer);
          row(j)[i] = static_cast<std::uint8_t>(row(j)[i] | side);
        });
    }
  });
}

}  // namespace leastharm::segment_detail
