#include "classes.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <vector>

#include "denoise.h"
#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kSkinLevels = 9;    // 144 HU about tissue's peak
constexpr int kLeastSpread = 2;   // of the 8 voxels beside one of skin

using Table = std::array<std::uint8_t, 256>;

Table material_table(const Thresholds& t) {
  Table table{};
  for (int level = 0; level < 256; ++level)
    table[static_cast<std::size_t>(level)] =
        label(level < t.fibre    ? Material::air
              : level < t.tissue ? Material::wrapping
              : level < t.mineral ? Material::body
                                  : Material::bone);
  return table;
}

/// 1 where a voxel lies on a climb along one axis: both neighbours differ from it by `least`, one up and one down.
void mark_climbs(const std::uint8_t* here, const std::uint8_t* before, const std::uint8_t* after, int width,
                 std::uint8_t least, std::uint8_t* climbs) {
  for (int i = 0; i < width; ++i) {
    const std::uint8_t low = std::min(before[i], after[i]), high = std::max(before[i], after[i]), v = here[i];
    const auto up = static_cast<std::uint8_t>(std::max(high, v) - v), down = static_cast<std::uint8_t>(v - std::min(low, v));
    climbs[i] = static_cast<std::uint8_t>(climbs[i] | (std::min(up, down) >= least ? 1 : 0));
  }
}

class Climber {
 public:
  Climber(const Volume<std::uint8_t>& levels, const Table& table, int least, int tissue_peak)
      : levels_(levels), table_(table), least_(least), tissue_peak_(tissue_peak),
        stride_(levels.grid.strides()) {}

  /// The material of a voxel that lies on a climb: that of the nearer end of its steepest one.
  [[nodiscard]] std::uint8_t material(int i, int j, int k) const {
    const std::array<int, 3> at{i, j, k};
    const std::uint8_t* v = levels_.values.data() + levels_.grid.offset(i, j, k);
    int steepest = -1, steepness = 0;
    for (std::size_t a = 0; a < 3; ++a) {
      if (at[a] == 0 || at[a] + 1 == levels_.grid.size[a]) continue;
      const int up = v[stride_[a]] - *v, down = *v - v[-stride_[a]];
      if (up * down <= 0 || std::min(std::abs(up), std::abs(down)) < least_) continue;
      if (std::abs(up + down) > steepness) steepness = std::abs(up + down), steepest = static_cast<int>(a);
    }
    if (steepest < 0) return table_[*v];
    const auto a = static_cast<std::size_t>(steepest);
    const int high = end_of(v, stride_[a], levels_.grid.size[a] - 1 - at[a]);
    const int low = end_of(v, -stride_[a], at[a]);
    const std::uint8_t nearer = table_[static_cast<std::size_t>(std::abs(high - *v) <= std::abs(*v - low) ? high : low)];
    // One voxel of skin between bone and what lies around looks like a climb, but has skin's own level.
    const bool skin = skin_level(*v) && std::max(table_[static_cast<std::size_t>(high)], table_[static_cast<std::size_t>(low)]) == label(Material::bone) &&
                      spreads(v, at, a);
    if (skin) return table_[*v];
    const std::uint8_t ends[2] = {table_[static_cast<std::size_t>(high)], table_[static_cast<std::size_t>(low)]};
    const bool mixed = table_[*v] == label(Material::wrapping) && nearer != label(Material::wrapping) &&
                       std::min(ends[0], ends[1]) == label(Material::air) && std::max(ends[0], ends[1]) >= label(Material::body);
    return mixed ? static_cast<std::uint8_t>(nearer | code::kMixed) : nearer;
  }

 private:
  [[nodiscard]] bool skin_level(int level) const {
    return table_[static_cast<std::size_t>(level)] == label(Material::body) && std::abs(level - tissue_peak_) <= kSkinLevels;
  }
  /// Whether skin spreads across a climb along axis `a`: half bone, half air reads like tissue in one voxel, but not in those beside it.
  [[nodiscard]] bool spreads(const std::uint8_t* v, const std::array<int, 3>& at, std::size_t a) const {
    const std::size_t b = (a + 1) % 3, c = (a + 2) % 3;
    if (at[b] == 0 || at[c] == 0 || at[b] + 1 == levels_.grid.size[b] || at[c] + 1 == levels_.grid.size[c]) return true;
    int like = -1;   // the voxel itself
    for (int m = -1; m <= 1; ++m)
      for (int n = -1; n <= 1; ++n) like += skin_level(v[m * stride_[b] + n * stride_[c]]);
    return like >= kLeastSpread;
  }
  /// The level where a climb comes to rest, at most three voxels on.
  [[nodiscard]] int end_of(const std::uint8_t* v, std::ptrdiff_t step, int room) const {
    const int sign = v[step] > *v ? 1 : -1;
    const std::uint8_t* at = v + step;
    for (int n = 1; n < std::min(3, room) && (at[step] - *at) * sign >= least_ / 2 + 1; ++n) at += step;
    return *at;
  }

  const Volume<std::uint8_t>& levels_;
  const Table& table_;
  int least_, tissue_peak_;
  std::array<std::ptrdiff_t, 3> stride_;
};

}  // namespace

void classify(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, double noise_hu, int threads,
              Volume<std::uint8_t>& codes) {
  const Table table = material_table(thresholds);
  const int least = std::max(6, static_cast<int>(std::lround(noise_hu / kHuPerLevel * 2)));
  const Climber climber(levels, table, least, thresholds.tissue_peak);
  const auto [width, height, depth] = levels.grid.size;
  for_chunks(depth, 4, threads, [&, w = width, h = height, d = depth](int, int first, int last) {
    std::vector<std::uint8_t> climbs(static_cast<std::size_t>(w));
    const auto row = [&](int j, int k) { return levels.values.data() + levels.grid.offset(0, j, k); };
    const auto least8 = static_cast<std::uint8_t>(least);
    for (int k = first; k < last; ++k)
      for (int j = 0; j < h; ++j) {
        std::fill(climbs.begin(), climbs.end(), std::uint8_t{0});
        const std::uint8_t* here = row(j, k);
        if (w > 2) mark_climbs(here + 1, here, here + 2, w - 2, least8, climbs.data() + 1);
        if (j > 0 && j + 1 < h) mark_climbs(here, row(j - 1, k), row(j + 1, k), w, least8, climbs.data());
        if (k > 0 && k + 1 < d) mark_climbs(here, row(j, k - 1), row(j, k + 1), w, least8, climbs.data());
        std::uint8_t* out = codes.values.data() + codes.grid.offset(0, j, k);
        for (int i = 0; i < w; ++i) out[i] = table[here[i]];
        for_each_of(climbs.data(), w, 1, 1, [&](int i) { out[i] = climber.material(i, j, k); });
      }
  });
}

}  // namespace leastharm::segment_detail
