#include "bone_rim.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <optional>
#include <vector>

#include "eight.h"
#include "parallel.h"
#include "thresholds.h"

namespace leastharm::segment_detail {
namespace {

constexpr std::uint8_t kBone = label(Material::bone), kTissue = label(Material::body), kFibre = label(Material::wrapping);
constexpr int kDenseShare = 33;          ///< one in so many of bone's voxels is dense
constexpr double kAlike = 0.85;          ///< of a voxel's height over tissue: a neighbour that is as full of bone
constexpr int kLeastResolved = 30;       ///< voxels
constexpr int kDepth = 3;                ///< voxels inwards in which compact bone is looked for
/// See local_compact. Both balance what is given back wrongly and what is kept wrongly on phantom_data and the drawn bodies 101 to 264; no published source.
constexpr double kThinLoss = 0.75;       ///< how much less half a voxel of bone reads where the shell is thin
constexpr double kShellShare = 0.75;     ///< most bone is a shell
constexpr int kBeyondTissue = 7;         ///< levels over tissue's peak that still are tissue: 112 HU

using Place = std::array<int, 3>;

std::uint8_t material(std::uint8_t c) { return c & code::kMaterial; }

/// The levels of bone's voxels that `counts(v, at)`.
template <typename Counts>
LevelCounts count_bone(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, int threads, const Counts& counts) {
  const auto& n = codes.grid.size;
  std::vector<LevelCounts> parts(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    LevelCounts& part = parts[static_cast<std::size_t>(k)];
    for (int j = 0; j < n[1]; ++j) {
      const std::size_t row = codes.grid.offset(0, j, k);
      for_each_of(codes.values.data() + row, n[0], code::kMaterial, kBone, [&](int i) {
        const std::size_t v = row + static_cast<std::size_t>(i);
        if (counts(v, Place{i, j, k})) ++part[levels.values[v]];
      });
    }
  });
  LevelCounts all{};
  for (const LevelCounts& part : parts)
    for (std::size_t level = 0; level < all.size(); ++level) all[level] += part[level];
  return all;
}

/// The level that one in `share` of what was counted reaches.
int level_of_densest(const LevelCounts& counts, int share) {
  const std::int64_t all = std::accumulate(counts.begin(), counts.end(), std::int64_t{0});
  std::int64_t above = 0;
  int level = 255;
  for (; level > 0; --level)
    if ((above += counts[static_cast<std::size_t>(level)]) * share >= all) break;
  return level;
}

/// What compact bone reads in this body. A shell that is thinner than a voxel reads less, now more and now less, as it falls on the grid; so the
/// median of dense voxels that are alike along a shaft or over a plate, that is along two axes at least.
int compact_level(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, int tissue, int threads) {
  const int dense = level_of_densest(count_bone(levels, codes, threads, [](std::size_t, const Place&) { return true; }), kDenseShare);
  const auto stride = levels.grid.strides();
  const auto resolved = [&](std::size_t v, const Place& at) {
    const std::uint8_t* level = levels.values.data() + v;
    if (*level - tissue < kAlike * (dense - tissue)) return false;
    int alike = 0;
    for (std::size_t a = 0; a < 3; ++a)
      alike += at[a] > 0 && at[a] + 1 < levels.grid.size[a] &&
               std::min(level[-stride[a]], level[stride[a]]) - tissue > kAlike * (*level - tissue);
    return alike >= 2;
  };
  const LevelCounts full = count_bone(levels, codes, threads, resolved);
  const bool enough = std::accumulate(full.begin(), full.end(), std::int64_t{0}) >= kLeastResolved;
  return enough ? level_of_densest(full, 2) : dense;
}

class Rim {
 public:
  Rim(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, const Thresholds& thresholds, int compact)
      : levels_(levels), codes_(codes), mineral_(thresholds.mineral), tissue_(thresholds.tissue_peak), compact_(compact), stride_(levels.grid.strides()) {}

  /// Whether a voxel of bone is mostly what lies beside it.
  [[nodiscard]] bool mostly_other(std::size_t v, const Place& at) const {
    return at_surface(v, at) && levels_.values[v] < half_way(v, at);
  }

 private:
  /// The grid's axis along which HU climb most; room is in voxels.
  struct Climb {
    std::ptrdiff_t inwards = 0;
    int room_in = 0, room_out = 0;
  };

  [[nodiscard]] bool at_surface(std::size_t v, const Place& at) const {
    const std::uint8_t* c = codes_.values.data() + v;
    for (std::size_t a = 0; a < 3; ++a)
      if ((at[a] > 0 && material(c[-stride_[a]]) <= kTissue) || (at[a] + 1 < levels_.grid.size[a] && material(c[stride_[a]]) <= kTissue)) return true;
    return false;
  }
  [[nodiscard]] Climb steepest(const std::uint8_t* level, const Place& at) const {
    Climb found;
    int most = -1;
    for (std::size_t a = 0; a < 3; ++a) {
      const int before = at[a], after = levels_.grid.size[a] - 1 - at[a];
      if (before == 0 || after == 0) continue;
      const int climb = level[stride_[a]] - level[-stride_[a]];
      if (std::abs(climb) <= most) continue;
      most = std::abs(climb);
      found = climb >= 0 ? Climb{stride_[a], after, before} : Climb{-stride_[a], before, after};
    }
    return found;
  }
  /// What the voxel is mixed with: tissue, or what there is of tissue in the next voxel outwards; none where all around is bone.
  [[nodiscard]] std::optional<int> outside(std::size_t v, const Climb& climb) const {
    const std::uint8_t* level = levels_.values.data() + v;
    const int next = level[-climb.inwards];
    const bool far = climb.room_out > 1;
    if (next >= tissue_ + kBeyondTissue) return far && level[-2 * climb.inwards] < tissue_ + kBeyondTissue ? std::optional(tissue_) : std::nullopt;
    if (!far || material(*(codes_.values.data() + v - 2 * climb.inwards)) != kFibre) return std::min(next, tissue_);
    return std::min(2 * next - level[-2 * climb.inwards], tissue_);   // skin parts bone from linen: where the next voxel holds some of it, this one is full
  }
  [[nodiscard]] double half_way(std::size_t v, const Place& at) const {
    const std::uint8_t* level = levels_.values.data() + v;
    const Climb climb = steepest(level, at);
    const auto out = climb.inwards == 0 ? std::nullopt : outside(v, climb);
    if (!out) return 0;
    int in = *level;
    for (int n = 1; n <= std::min(kDepth, climb.room_in); ++n) in = std::max<int>(in, level[n * climb.inwards]);
    const bool ridge = *out < tissue_ && level[climb.inwards] < mineral_;   // between air and tissue: the overshoot of a sharp kernel looks like bone
    const int beside = ridge ? tissue_ : *out;
    if (*level >= 0.5 * (beside + local_compact(in, compact_))) return 0;   // whatever lies around
    return 0.5 * (beside + local_compact(in, densest_around(level, at)));
  }

  [[nodiscard]] int densest_around(const std::uint8_t* level, const Place& at) const {
    const auto from = [&](std::size_t a) { return at[a] > 0 ? -1 : 0; };
    const auto to = [&](std::size_t a) { return at[a] + 1 < levels_.grid.size[a] ? 1 : 0; };
    std::uint8_t densest = 0;
    for (int k = from(2); k <= to(2); ++k)
      for (int j = from(1); j <= to(1); ++j)
        for (int i = from(0); i <= to(0); ++i) densest = std::max(densest, level[i + j * stride_[1] + k * stride_[2]]);
    return densest;
  }

  /// What a voxel full of this place's bone would read, as far as half a voxel of it is concerned: between two answers. Where bone
  /// is solid, it is the densest that lies around. Where it is a shell thicker than half a voxel, that half is filled by the shell alone, so
  /// with hardly less than compact bone; the thinner the shell (the less dense the line inwards), the more of the half is spongy.
  [[nodiscard]] double local_compact(int densest_inwards, int densest_around) const {
    const double lack = std::max(0.0, 1.0 - static_cast<double>(densest_inwards - tissue_) / std::max(1, compact_ - tissue_));
    const double shell = tissue_ + (compact_ - tissue_) * (1 - kThinLoss * lack * lack);
    return kShellShare * shell + (1 - kShellShare) * std::min(densest_around, compact_);
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
  const Rim rim(levels, codes, thresholds, compact_level(levels, codes, thresholds.tissue_peak, threads));
  std::vector<std::vector<std::size_t>> given_back(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    for (int j = 0; j < n[1]; ++j) {
      const std::size_t row = codes.grid.offset(0, j, k);
      for_each_of(codes.values.data() + row, n[0], code::kMaterial, kBone, [&](int i) {
        const std::size_t v = row + static_cast<std::size_t>(i);
        if (rim.mostly_other(v, {i, j, k})) given_back[static_cast<std::size_t>(k)].push_back(v);
      });
    }
  });
  for (const auto& slice : given_back)
    for (const std::size_t v : slice) codes.values[v] = static_cast<std::uint8_t>((codes.values[v] & code::kSide) | kTissue);
}

}  // namespace leastharm::segment_detail
