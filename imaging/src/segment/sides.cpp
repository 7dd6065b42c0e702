#include "sides.h"

#include <algorithm>

#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

bool passable(std::uint8_t c) { return (c & code::kMaterial) <= label(Material::wrapping); }

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
      spread(row(j), width, 1);
      spread(row(j), width, -1);
    }
    for (int j = 1; j < height; ++j) spread_rows(row(j - 1), row(j), width);
    for (int j = height - 2; j >= 0; --j) spread_rows(row(j + 1), row(j), width);
  }
}

/// Takes over the blocks' sides along one row; where `lacking` alone, in voxels that have none.
void take_sides(const std::uint8_t* blocks, int factor, int width, bool lacking, std::uint8_t* row) {
  for (int first = 0; first < width; first += factor, ++blocks)
    for (int i = first; i < std::min(width, first + factor); ++i)
      if (passable(row[i]) && !(lacking && (row[i] & code::kSide))) row[i] = static_cast<std::uint8_t>(row[i] | *blocks);
}

/// The flags of blocks on a clear side.
std::vector<std::uint8_t> clear_sides(const std::vector<Side>& sides) {
  std::vector<std::uint8_t> clear(sides.size());
  for (std::size_t v = 0; v < sides.size(); ++v)
    clear[v] = sides[v] == Side::wall ? 0 : sides[v] == Side::inside ? code::kInside : code::kOutside;
  return clear;
}

/// What a block's voxels count as when nothing clear can be reached: the commonest side among its neighbours.
std::vector<std::uint8_t> likely_sides(const Coarse& coarse, const std::vector<Side>& sides, int threads) {
  std::vector<std::uint8_t> likely(sides.size(), code::kOutside);
  for_chunks(coarse.size[2], 1, threads, [&](int k, int, int) {
    for (int j = 0; j < coarse.size[1]; ++j)
      for (int i = 0; i < coarse.size[0]; ++i) {
        if (sides[coarse.offset(i, j, k)] != Side::wall) continue;
        int balance = 0, seen = 0;
        for (int reach = 1; reach <= 3 && seen == 0; ++reach)
          for (int c = -reach; c <= reach; ++c)
            for (int b = -reach; b <= reach; ++b)
              for (int a = -reach; a <= reach; ++a) {
                if (!coarse.contains(i + a, j + b, k + c)) continue;
                const Side s = sides[coarse.offset(i + a, j + b, k + c)];
                if (s == Side::wall) continue;
                ++seen;
                balance += s == Side::inside ? 1 : -1;
              }
        if (balance > 0 || seen == 0) likely[coarse.offset(i, j, k)] = code::kInside;
      }
  });
  return likely;
}

}  // namespace

void flag_sides(const Coarse& coarse, const std::vector<Side>& sides, int threads, Volume<std::uint8_t>& codes) {
  const std::vector<std::uint8_t> clear = clear_sides(sides);
  const auto [width, height, depth] = codes.grid.size;
  for_chunks(depth, 2, threads, [&, w = width, h = height](int, int first, int last) {
    for (int k = first; k < last; ++k) {
      std::uint8_t* slice = codes.values.data() + codes.grid.offset(0, 0, k);
      for (int j = 0; j < h; ++j) {
        const std::uint8_t* row = &clear[coarse.offset(0, j / coarse.factor[1], k / coarse.factor[2])];
        take_sides(row, coarse.factor[0], w, false, slice + static_cast<std::ptrdiff_t>(j) * w);
      }
      spread_slice(slice, w, h);
    }
  });
  const std::vector<std::uint8_t> likely = likely_sides(coarse, sides, threads);
  for_chunks(depth, 2, threads, [&, w = width, h = height](int, int first, int last) {
    for (int k = first; k < last; ++k)
      for (int j = 0; j < h; ++j) {
        const std::uint8_t* row = &likely[coarse.offset(0, j / coarse.factor[1], k / coarse.factor[2])];
        take_sides(row, coarse.factor[0], w, true, codes.values.data() + codes.grid.offset(0, j, k));
      }
  });
}

}  // namespace leastharm::segment_detail
