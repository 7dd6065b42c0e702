#include "mineral.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "denoise.h"
#include "regions.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kLeastShare = 225;          ///< of 255: blocks of mineral alone
constexpr int kDensestFilling_hu = 1050;
constexpr float kMostVariation_hu = 120;
constexpr double kLeastWindow_hu = 180;   ///< filling reaches at least this far from its mean
constexpr double kMostInset_mm = 5, kInsetShare = 0.08;   ///< lengths are shares of the body's own half thickness:
constexpr double kLeastDepthShare = 0.1;  ///< a ball of this radius fits in,
constexpr double kDeepShare = 0.16;       ///< of this one where its HU are those of solid bone, which is never so deep
constexpr int kSolidBone_hu = 550;
constexpr double kMostShell = 0.4;        ///< share of the surface that denser matter may cover,
constexpr double kDeepMostShell = 0.6, kDeeperThanBone = 0.3;   ///< and of filling deeper than bones of a whole body are: ribs lie close to it in a small one
constexpr double kOvershoot = 0.12;       ///< of a step from air: what a sharp kernel adds at the edge of dense filling, which is no shell
constexpr int kLeastTissue_hu = -250;   ///< lighter is air, or half of it
constexpr double kShellVoxels = 0.08;     ///< share of a block's voxels that make it a piece of shell

struct Filling {
  std::vector<std::size_t> blocks, ring;
  int lowest = 0, highest = 0;   ///< levels of filling that nothing else mixes with
  int shell = 0;                 ///< beyond this level lies a shell of bone
};

std::vector<std::uint8_t> even_mineral(const Coarse& coarse, const Shares& shares, double noise_hu) {
  std::vector<std::uint8_t> set(coarse.count());
  for (std::size_t v = 0; v < set.size(); ++v)
    set[v] = shares.mineral[v] >= kLeastShare && shares.mean_hu[v] <= kDensestFilling_hu;
  const std::vector<float> variation = variation_hu(coarse, shares, set, noise_hu);
  for (std::size_t v = 0; v < set.size(); ++v) set[v] = set[v] && variation[v] <= kMostVariation_hu;
  return set;
}

bool holds_shell(const Volume<std::uint8_t>& levels, const Coarse& coarse, int most, std::size_t block) {
  int dense = 0, all = 0;
  for_voxels(coarse, levels.grid, block, [&](std::size_t v) { ++all, dense += levels.values[v] > most; });
  return dense > kShellVoxels * all;
}

/// Of the filling's outermost blocks, the share that hold a piece of shell, or have one next to them.
double shell_share(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Filling& filling) {
  std::vector<std::uint8_t> outer(coarse.count());
  for (const std::size_t block : filling.ring) outer[block] = holds_shell(levels, coarse, filling.shell, block) ? 2 : 1;
  std::size_t rim = 0, shell = 0;
  for (const std::size_t block : filling.blocks) {
    bool at_rim = false, at_shell = false;
    for (const std::size_t n : ring_of(coarse, block)) at_rim |= outer[n] != 0, at_shell |= outer[n] == 2;
    if (!at_rim) continue;
    ++rim;
    shell += at_shell || holds_shell(levels, coarse, filling.shell, block);
  }
  return rim == 0 ? 1 : static_cast<double>(shell) / static_cast<double>(rim);
}

/// The levels next to a voxel, along axes on which it has one on each side.
struct Around {
  int highest = 0;
  int lowest = 255;   ///< of tissue and what is denser: at air a sharp kernel overshoots
  int sunken = 255;   ///< the least of the axes' higher ends: what a ridge stands out from
};

Around around(const Volume<std::uint8_t>& levels, std::size_t v) {
  const VoxelIndex at = levels.grid.index(v);
  const auto stride = levels.grid.strides();
  const std::uint8_t* level = levels.values.data() + v;
  Around found;
  for (std::size_t a = 0; a < 3; ++a) {
    if (at[a] == 0 || at[a] + 1 == levels.grid.size[a]) continue;
    const int before = level[-stride[a]], after = level[stride[a]];
    found.highest = std::max({found.highest, before, after});
    found.sunken = std::min(found.sunken, std::max(before, after));
    for (const int beside : {before, after})
      if (beside >= level_of(kLeastTissue_hu)) found.lowest = std::min(found.lowest, beside);
  }
  return found;
}

/// Whether a voxel has something denser than filling and something lighter next to it (half bone, half tissue or marrow), or lighter
/// matter on both sides (a thin shell of bone).
bool bone_like(const Around& levels, const Filling& filling) {
  return levels.sunken < filling.lowest || (levels.highest > filling.highest && levels.lowest < filling.lowest);
}

/// Where filling may spread to: freely next to its own blocks; one block on, as between a blade of the hip and the wall, where no shell of
/// bone is near, so that it does not get into spongy bone that reads like it.
enum class Reach : std::uint8_t { none, apart, free };

std::vector<Reach> reach_of(const Coarse& coarse, const Filling& filling) {
  std::vector<Reach> reach(coarse.count());
  for (const std::size_t block : ring_of(coarse, filling.ring)) reach[block] = Reach::apart;
  for (const std::size_t block : filling.ring) reach[block] = Reach::free;
  return reach;
}

/// Takes over the voxels of the filling's blocks, and spreads from there through the blocks around.
void label_filling(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Filling& filling,
                   Volume<std::uint8_t>& codes) {
  const Grid& grid = levels.grid;
  const auto in_window = [&](std::size_t v) { return levels.values[v] >= filling.lowest && levels.values[v] <= filling.highest; };
  const auto holds = [&](std::size_t v, Material m) { return (codes.values[v] & code::kMaterial) == label(m); };
  std::vector<std::size_t> front;
  const auto take = [&](std::size_t v) {
    codes.values[v] = label(Material::packing) | code::kInside;
    front.push_back(v);
  };
  for (const std::size_t block : filling.blocks)
    for_voxels(coarse, grid, block, [&](std::size_t v) {
      const bool filled = (holds(v, Material::bone) && in_window(v)) || (holds(v, Material::body) && levels.values[v] >= filling.lowest - 4);
      if (filled && !bone_like(around(levels, v), filling)) take(v);
    });
  const std::vector<Reach> reach = reach_of(coarse, filling);
  const int near_shell = filling.lowest + (filling.highest - filling.lowest) * 3 / 4;
  for (std::size_t n = 0; n < front.size(); ++n)
    for_neighbours(grid, front[n], [&](std::size_t next) {
      if (!holds(next, Material::bone) || !in_window(next)) return;
      const Reach far = reach[coarse.block_of(grid.index(next))];
      if (far == Reach::none) return;
      const Around levels_beside = around(levels, next);
      if (!bone_like(levels_beside, filling) && (far == Reach::free || levels_beside.highest <= near_shell)) take(next);
    });
}

/// What lies beside a voxel of mineral.
struct Beside {
  bool filling = false, bone = false, light = false;
};

Beside beside(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& codes, const Filling& filling, std::size_t v) {
  Beside found;
  for_neighbours(levels.grid, v, [&](std::size_t next) {
    const std::uint8_t material = codes.values[next] & code::kMaterial;
    found.filling |= material == label(Material::packing);
    found.light |= material <= label(Material::wrapping);
    found.bone |= levels.values[next] > filling.shell;
  });
  return found;
}

/// Filling's own rim mixes with what lies around it: what is left of mineral between filling and anything but bone. Where it stands out
/// into air, it looks like a thin shell from two sides.
void label_rim(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Filling& filling,
               Volume<std::uint8_t>& codes) {
  std::vector<std::size_t> rim;
  const auto look = [&](std::size_t v) {
    if ((codes.values[v] & code::kMaterial) != label(Material::bone) || levels.values[v] > filling.shell) return;
    const Beside b = beside(levels, codes, filling, v);
    if (b.filling && !b.bone && (b.light || levels.values[v] < filling.lowest)) rim.push_back(v);
  };
  for (const std::size_t block : filling.blocks) for_voxels(coarse, levels.grid, block, look);
  for (const std::size_t block : filling.ring) for_voxels(coarse, levels.grid, block, look);
  for (const std::size_t v : rim) codes.values[v] = label(Material::packing) | code::kInside;
}

}  // namespace

void find_mineral_packing(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                          double half_thickness_mm, double noise_hu, int threads,
                          Volume<std::uint8_t>& codes) {
  const std::vector<std::uint8_t> set = even_mineral(coarse, shares, noise_hu);
  const double inset = std::min(kMostInset_mm, kInsetShare * half_thickness_mm);
  const int reach = static_cast<int>(std::ceil(inset / coarse.spacing_mm.minCoeff())) + 1;
  for (const Core& core : cores_of(coarse, set, inset, threads)) {
    if (core.depth_mm < kLeastDepthShare * half_thickness_mm) continue;
    LevelStatistic all;
    for (const std::size_t block : core.blocks) all.add(statistic_of(levels, coarse, block));
    const bool as_bone = all.mean() > level_of(kSolidBone_hu);
    if (as_bone && core.depth_mm < kDeepShare * half_thickness_mm) continue;
    const double window = std::max(kLeastWindow_hu / kHuPerLevel, 2 * all.deviation());
    Filling filling;
    filling.lowest = static_cast<int>(std::lround(all.mean() - window));
    filling.highest = static_cast<int>(std::lround(all.mean() + window));
    filling.shell = filling.highest;
    for (const std::size_t block : spread_in(coarse, set, core.blocks, reach))
      if (level_of(shares.mean_hu[block]) >= filling.lowest && level_of(shares.mean_hu[block]) <= filling.highest)
        filling.blocks.push_back(block);
    filling.ring = ring_of(coarse, filling.blocks);
    const double most_shell = core.depth_mm < kDeeperThanBone * half_thickness_mm ? kMostShell : kDeepMostShell;
    const auto in_shell = [&] { return shell_share(levels, coarse, filling) > most_shell; };
    if (in_shell()) {
      if (!as_bone) continue;
      filling.shell += static_cast<int>(kOvershoot * (all.mean() - level_of(-1000)));   // so deep it is no bone, and the shell perhaps none
      if (in_shell()) continue;
    }
    label_filling(levels, coarse, filling, codes);
    label_rim(levels, coarse, filling, codes);
  }
}

}  // namespace leastharm::segment_detail
