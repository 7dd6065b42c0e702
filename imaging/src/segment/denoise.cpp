#include "denoise.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "parallel.h"
#include "../roomy_values.h"

namespace leastharm::segment_detail {
namespace {

/// A slice with a border of one voxel that repeats its edge, air at -1000, and within what int16 sums can hold.
class PaddedSlice {
 public:
  PaddedSlice(int width, int height)
      : stride_(width + 2), values_(static_cast<std::size_t>(stride_) * static_cast<std::size_t>(height + 2)) {}

  void fill(const Volume<std::int16_t>& hu, int k, int shift_hu) {
    const int width = hu.grid.size[0], height = hu.grid.size[1];
    for (int j = 0; j < height; ++j) {
      const std::int16_t* from = hu.values.data() + hu.grid.offset(0, j, k);
      std::int16_t* to = row(j) + 1;
      for (int i = 0; i < width; ++i) {
        const int v = from[i] < kLowestReadingHu ? -1000 : from[i] + shift_hu;
        to[i] = static_cast<std::int16_t>(std::clamp(v, -1024, 4000));
      }
      to[-1] = to[0];
      to[width] = to[width - 1];
    }
    std::copy_n(row(0), stride_, row(-1));
    std::copy_n(row(height - 1), stride_, row(height));
  }
  /// Row j from its border voxel on; j from -1 to height.
  [[nodiscard]] std::int16_t* row(int j) { return values_.data() + static_cast<std::ptrdiff_t>(j + 1) * stride_; }

 private:
  std::ptrdiff_t stride_;
  std::vector<std::int16_t> values_;
};

using NineRows = std::array<const std::int16_t*, 9>;

/// Sum and count of the neighbours that differ little enough. Sums fit int16: 27 times the reach of at most 300.
struct Agreement {
  std::int16_t centre, reach, sum = 0, count = 0;

  void add(std::int16_t value) {
    const auto d = static_cast<std::int16_t>(value - centre);
    const auto size = std::max(d, static_cast<std::int16_t>(-d));
    const auto keep = static_cast<std::int16_t>(size <= reach ? -1 : 0);
    sum = static_cast<std::int16_t>(sum + (d & keep));
    count = static_cast<std::int16_t>(count - keep);
  }
  void add_three(const std::int16_t* value) {
    add(value[0]);
    add(value[1]);
    add(value[2]);
  }
};

/// One row of the sigma filter. Written out neighbour by neighbour so that the compiler takes eight voxels at a time.
void smooth_row(const NineRows& rows, int width, std::int16_t reach, std::int16_t* out) {
  const auto [r0, r1, r2, r3, r4, r5, r6, r7, r8] = rows;
  for (int i = 0; i < width; ++i) {
    Agreement a{r4[i + 1], reach};
    a.add_three(r0 + i);
    a.add_three(r1 + i);
    a.add_three(r2 + i);
    a.add_three(r3 + i);
    a.add_three(r4 + i);
    a.add_three(r5 + i);
    a.add_three(r6 + i);
    a.add_three(r7 + i);
    a.add_three(r8 + i);
    const float mean = static_cast<float>(a.sum) / static_cast<float>(a.count);
    out[i] = static_cast<std::int16_t>(a.centre + static_cast<std::int16_t>(mean));
  }
}

void to_levels(const std::int16_t* hu, int width, std::uint8_t* out) {
  for (int i = 0; i < width; ++i) {
    const int level = (hu[i] + 1024 + kHuPerLevel / 2) >> 4;
    out[i] = static_cast<std::uint8_t>(std::min(level, 255));
  }
}

}  // namespace

Volume<std::uint8_t> denoised_levels(const Volume<std::int16_t>& hu, const Readings& readings, int threads) {
  const auto [width, height, depth] = hu.grid.size;
  const int shift = static_cast<int>(std::lround(-1000 - readings.air_hu));
  const bool smooth = readings.noise_hu > 8;
  const auto reach = static_cast<std::int16_t>(std::clamp(3 * readings.noise_hu, 30.0, 160.0));
  Volume<std::uint8_t> levels{hu.grid, roomy_values<std::uint8_t>(hu.values.size())};
  for_chunks(depth, 8, threads, [&, w = width, h = height, d = depth](int, int first, int last) {
    std::vector<PaddedSlice> ring(3, PaddedSlice(w, h));
    std::vector<std::int16_t> row(static_cast<std::size_t>(w));
    const auto load = [&](int k) {
      ring[static_cast<std::size_t>((k + 3) % 3)].fill(hu, std::clamp(k, 0, d - 1), shift);
    };
    load(first - 1);
    load(first);
    for (int k = first; k < last; ++k) {
      load(k + 1);
      for (int j = 0; j < h; ++j) {
        NineRows rows;
        for (int r = 0; r < 9; ++r)
          rows[static_cast<std::size_t>(r)] = ring[static_cast<std::size_t>((k + r / 3 + 2) % 3)].row(j + r % 3 - 1);
        std::uint8_t* out = levels.values.data() + levels.grid.offset(0, j, k);
        if (smooth) smooth_row(rows, w, reach, row.data());
        to_levels(smooth ? row.data() : rows[4] + 1, w, out);
      }
    }
  });
  return levels;
}

}  // namespace leastharm::segment_detail
