#include "bone_rim.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::uint8_t kBone = label(Material::bone), kTissue = label(Material::body);
constexpr int kCompactShare = 33;        ///< one in so many of bone's voxels is compact bone that fills its voxel
constexpr int kAround = 2;               ///< voxels each way in which the bone of a place is looked for
constexpr int kDepth = 3;                ///< voxels inwards in which compact bone is looked for
constexpr double kThinLoss = 0.75;       ///< how much less half a voxel of bone reads where the shell is thin: see local_compact
constexpr int kBeyondTissue = 7, kBelowTissue = 10;   ///< levels off tissue's peak that still are tissue: 112 and 160 HU

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

int compact_level(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, int threads) {
  const auto& n = codes.grid.size;
  const std::size_t slice = static_cast<std::size_t>(n[0]) * static_cast<std::size_t>(n[1]);
  std::vector<std::array<std::int64_t, 256>> parts(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    auto& part = parts[static_cast<std::size_t>(k)];
    for (std::size_t v = slice * static_cast<std::size_t>(k); v < slice * static_cast<std::size_t>(k + 1); ++v)
      part[levels.values[v]] += material(codes.values[v]) == kBone;
  });
  std::int64_t all = 0, above = 0;
  for (const auto& part : parts)
    for (const std::int64_t c : part) all += c;
  int level = 255;
  for (; level > 0; --level) {
    for (const auto& part : parts) above += part[static_cast<std::size_t>(level)];
    if (above * kCompactShare >= all) break;
  }
  return level;
}

class Rim {
 public:
  Rim(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, const Thresholds& thresholds, int compact)
      : levels_(levels), codes_(codes), mineral_(thresholds.mineral), tissue_(thresholds.tissue_peak), compact_(compact),
        stride_{1, levels.grid.size[0], static_cast<std::ptrdiff_t>(levels.grid.size[0]) * levels.grid.size[1]} {}

  /// Whether a voxel of bone that touches tissue is mostly tissue.
  [[nodiscard]] bool mostly_tissue(std::size_t v, const std::array<int, 3>& at) const {
    if (!touches_tissue(v, at)) return false;
    const int level = levels_.values[v];
    return level < mineral_ || level < half_way(v, at);
  }

 private:
  [[nodiscard]] bool touches_tissue(std::size_t v, const std::array<int, 3>& at) const {
    const std::uint8_t* c = codes_.values.data() + v;
    for (std::size_t a = 0; a < 3; ++a)
      if ((at[a] > 0 && material(c[-stride_[a]]) == kTissue) || (at[a] + 1 < levels_.grid.size[a] && material(c[stride_[a]]) == kTissue)) return true;
    return false;
  }
  [[nodiscard]] double half_way(std::size_t v, const std::array<int, 3>& at) const {
    const std::uint8_t* level = levels_.values.data() + v;
    std::ptrdiff_t inwards = 0;
    int steepest = -1, room_in = 0, room_out = 0;
    for (std::size_t a = 0; a < 3; ++a) {
      const int before = at[a], after = levels_.grid.size[a] - 1 - at[a];
      if (before == 0 || after == 0) continue;
      const int climb = level[stride_[a]] - level[-stride_[a]];
      if (std::abs(climb) <= steepest) continue;
      steepest = std::abs(climb);
      inwards = climb >= 0 ? stride_[a] : -stride_[a];
      room_in = climb >= 0 ? after : before, room_out = climb >= 0 ? before : after;
    }
    if (steepest < 0) return mineral_;
    int in = *level;
    for (int n = 1; n <= std::min(kDepth, room_in); ++n) in = std::max<int>(in, level[n * inwards]);
    int out = level[-inwards];
    if (!like_tissue(out) && room_out > 1) out = std::min<int>(out, level[-2 * inwards]);
    const bool ridge = out < tissue_ && level[inwards] < mineral_;   // between air and tissue: the overshoot of a sharp kernel looks like bone
    if (!ridge && !like_tissue(out)) return mineral_;
    const double most = 0.5 * (tissue_ + local_compact(in, compact_));   // whatever lies around
    return *level >= most ? most : 0.5 * (tissue_ + local_compact(in, densest_around(v, at)));
  }
  [[nodiscard]] bool like_tissue(int level) const { return level >= tissue_ - kBelowTissue && level < tissue_ + kBeyondTissue; }

  [[nodiscard]] int densest_around(std::size_t v, const std::array<int, 3>& at) const {
    const auto reach = [&](std::size_t a, int way) { return std::min(kAround, way < 0 ? at[a] : levels_.grid.size[a] - 1 - at[a]); };
    const std::uint8_t* level = levels_.values.data() + v;
    std::uint8_t densest = 0;
    for (int k = -reach(2, -1); k <= reach(2, 1); ++k)
      for (int j = -reach(1, -1); j <= reach(1, 1); ++j) {
        const std::uint8_t* row = level + j * stride_[1] + k * stride_[2];
        for (int i = -reach(0, -1); i <= reach(0, 1); ++i) densest = std::max(densest, row[i]);
      }
    return densest;
  }

  /// What a voxel full of this place's bone would read, as far as half a voxel of it is concerned: the mean of two answers. Where bone
  /// is solid, it is the densest that lies around. Where it is a shell thicker than half a voxel, that half is filled by the shell alone, so
  /// with hardly less than compact bone; the thinner the shell (the less dense the line inwards), the more of the half is spongy.
  [[nodiscard]] double local_compact(int densest_inwards, int densest_around) const {
    const double lack = std::max(0.0, 1.0 - static_cast<double>(densest_inwards - tissue_) / std::max(1, compact_ - tissue_));
    const double shell = tissue_ + (compact_ - tissue_) * (1 - kThinLoss * lack * lack);
    return 0.5 * (shell + std::min(densest_around, compact_));
  }

  const Volume<std::uint8_t>& levels_;
  const Volume<std::uint8_t>& codes_;
  int mineral_, tissue_, compact_;
  std::array<std::ptrdiff_t, 3> stride_;
};

}  // namespace

void trim_bone(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, int threads,
               Volume<std::uint8_t>& codes) {
  const auto& n = codes.grid.size;
  const Rim rim(levels, codes, thresholds, compact_level(levels, codes, threads));
  std::vector<std::vector<std::size_t>> given_back(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    for (int j = 0; j < n[1]; ++j) {
      const std::size_t start = codes.grid.offset(0, j, k);
      for (int i = 0; i < n[0]; ++i) {
        const std::size_t v = start + static_cast<std::size_t>(i);
        if (material(codes.values[v]) == kBone && rim.mostly_tissue(v, {i, j, k})) given_back[static_cast<std::size_t>(k)].push_back(v);
      }
    }
  });
  for (const auto& slice : given_back)
    for (const std::size_t v : slice) codes.values[v] = static_cast<std::uint8_t>((codes.values[v] & code::kSide) | kTissue);
}

}  // namespace leastharm::segment_detail
