#include "fibre.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

#include "denoise.h"
#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::uint8_t kMark = 0x08;

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }
bool fibre(std::uint8_t c) { return material(c) == label(Material::wrapping); }
bool air(std::uint8_t c) { return material(c) == label(Material::air); }

template <typename Work>
void for_slices(const Volume<std::uint8_t>& codes, int threads, const Work& work) {
  for_chunks(codes.grid.size[2], 1, threads, [&](int k, int, int) { work(k); });
}

/// Calls work(offset) for each voxel of fibre in a slice.
template <typename Work>
void for_fibre(const Volume<std::uint8_t>& codes, int k, const Work& work) {
  const std::size_t first = codes.grid.offset(0, 0, k);
  for_each_of(codes.values.data() + first, codes.grid.size[0] * codes.grid.size[1], code::kMaterial, label(Material::wrapping),
              [&](int n) { work(first + static_cast<std::size_t>(n)); });
}

}  // namespace

void settle_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
                  Volume<std::uint8_t>& codes) {
  std::vector<std::array<LevelCounts, 2>> parts(static_cast<std::size_t>(codes.grid.size[2]));
  for_slices(codes, threads, [&](int k) {
    auto& part = parts[static_cast<std::size_t>(k)];
    for (LevelCounts& counts : part) counts.fill(0);
    for_fibre(codes, k, [&](std::size_t v) { ++part[(codes.values[v] & code::kInside) ? 1 : 0][levels.values[v]]; });
  });
  std::array<LevelCounts, 2> counts{};
  for (const auto& part : parts)
    for (std::size_t side = 0; side < 2; ++side)
      for (std::size_t b = 0; b < 256; ++b) counts[side][b] += part[side][b];
  const int outside = std::max(thresholds.fibre, fibre_threshold(counts[0], thresholds.fibre));
  const int inside = std::max(thresholds.fibre, fibre_threshold(counts[1], thresholds.fibre));
  for_slices(codes, threads, [&](int k) {
    for_fibre(codes, k, [&](std::size_t v) {
      std::uint8_t& c = codes.values[v];
      if (levels.values[v] < ((c & code::kInside) ? inside : outside)) c &= code::kSide;
    });
  });
}

namespace {

/// The length of the run of fibre through a voxel along one axis, up to 3, and what it ends in.
struct Sheet {
  int length = 0;
  bool at_air = false, at_tissue = false, bounded = true;
};
Sheet sheet_at(const std::uint8_t* c, std::ptrdiff_t step, int before, int after) {
  Sheet sheet{1, false, false, true};
  for (const int sign : {-1, 1}) {
    const int room = sign < 0 ? before : after;
    int n = 1;
    while (n <= room && n < 3 && fibre(c[sign * n * step])) ++n;
    if (n > room || n >= 3) {
      sheet.bounded = false;
      return sheet;
    }
    sheet.length += n - 1;
    sheet.at_air = sheet.at_air || air(c[sign * n * step]);
    sheet.at_tissue = sheet.at_tissue || material(c[sign * n * step]) == label(Material::body);
  }
  return sheet;
}

class Sweep {
 public:
  Sweep(const Volume<std::uint8_t>& codes)
      : codes_(codes), stride_(codes.grid.strides()) {}

  /// Whether a voxel lies in a layer of one or two voxels at air; for a `skin`, between air and tissue.
  [[nodiscard]] bool thin_sheet(const std::array<int, 3>& at, std::size_t v, bool skin) const {
    for (std::size_t a = 0; a < 3; ++a) {
      const Sheet sheet = sheet_at(codes_.values.data() + v, stride_[a], at[a], codes_.grid.size[a] - 1 - at[a]);
      if (sheet.bounded && sheet.at_air && (sheet.at_tissue || !skin) && sheet.length <= 2) return true;
    }
    return false;
  }

 private:
  const Volume<std::uint8_t>& codes_;
  std::array<std::ptrdiff_t, 3> stride_;
};

/// Marks thin sheets inside and mixed skins outside.
void mark_thin(int threads, Volume<std::uint8_t>& codes) {
  const auto& n = codes.grid.size;
  std::vector<std::vector<std::size_t>> thin(static_cast<std::size_t>(n[2]));
  const Sweep sweep(codes);
  for_slices(codes, threads, [&](int k) {
    for (int j = 0; j < n[1]; ++j) {
      const std::size_t row = codes.grid.offset(0, j, k);
      for_each_of(codes.values.data() + row, n[0], code::kMaterial, label(Material::wrapping), [&](int i) {
        const std::size_t v = row + static_cast<std::size_t>(i);
        if (sweep.thin_sheet({i, j, k}, v, !(codes.values[v] & code::kInside))) thin[static_cast<std::size_t>(k)].push_back(v);
      });
    }
  });
  for (const auto& slice : thin)
    for (const std::size_t v : slice) codes.values[v] |= kMark;
}

}  // namespace

void drop_false_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, bool wrapped, int threads,
                      Volume<std::uint8_t>& codes) {
  mark_thin(threads, codes);
  const bool living = thresholds.fat;
  const int half = (level_of(-1000) + thresholds.tissue_peak) / 2;
  for_slices(codes, threads, [&](int k) {
    for_fibre(codes, k, [&](std::size_t v) {   // and only fibre is marked
      std::uint8_t& c = codes.values[v];
      const bool marked = (c & kMark) != 0;
      c = static_cast<std::uint8_t>(c & ~kMark);
      const bool inside = (c & code::kInside) != 0;
      const std::uint8_t side = c & code::kSide;
      if (!inside && living && !marked) c = static_cast<std::uint8_t>(side | label(Material::support));
      else if (inside ? marked || living : !wrapped)
        c = static_cast<std::uint8_t>(side | (levels.values[v] >= half ? label(Material::body) : label(Material::air)));
    });
  });
}

}  // namespace leastharm::segment_detail
