#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "denoise.h"
#include "slab_voxels.h"
#include "slabs.h"

namespace leastharm::segment_detail {
namespace {

/// Decides a voxel just outside a slab's surface: mixed of slab and air it goes to the nearer one; with something else
/// against the slab it is left alone.
void settle_rim(const Volume<std::uint8_t>& levels, const Slab& slab, const std::array<int, 3>& at, int inward,
                std::uint8_t label, Volume<std::uint8_t>& materials) {
  constexpr int kAirOrMixed = 6;   // levels above air
  const auto wa = static_cast<std::size_t>(slab.axis);
  const int n = levels.grid.size[wa];
  const auto level = [&](int step) {
    std::array<int, 3> there = at;
    there[wa] = std::clamp(at[wa] + step * inward, 0, n - 1);
    return static_cast<int>(levels.values[levels.grid.offset(there[0], there[1], there[2])]);
  };
  const int air = level_of(-1000), matter = std::max(level(1), level(2));
  if (level(-1) > air + kAirOrMixed) return;
  const std::size_t v = levels.grid.offset(at[0], at[1], at[2]);
  materials.values[v] = 2 * level(0) > air + matter ? label : static_cast<std::uint8_t>(materials.values[v] & 0xC0);
}

/// The middle level of a slab's inside, of what is more than air.
int inner_level(const Slab& slab, const Coarse& coarse, const Volume<std::uint8_t>& levels) {
  const double spacing = levels.grid.spacing_mm[slab.axis];
  std::array<std::int64_t, 256> counts{};
  std::int64_t all = 0;
  for_slab(slab, levels.grid, coarse, 0, 0, [&](const std::array<int, 3>& at, double behind, double before) {
    const int level = levels.values[levels.grid.offset(at[0], at[1], at[2])];
    if (std::min(behind, before) > 0.5 * spacing && level >= level_of(-955)) ++counts[static_cast<std::size_t>(level)], ++all;
  });
  int level = 0;
  for (std::int64_t below = 0; level < 255 && (below += counts[static_cast<std::size_t>(level)]) * 2 < all;) ++level;
  return level;
}

}  // namespace

void mark_slabs(const std::vector<Slab>& slabs, const Coarse& coarse, const Volume<std::uint8_t>& levels,
                std::uint8_t label, Volume<std::uint8_t>& materials) {
  const int foam = level_of(-955);
  for (const Slab& slab : slabs) {
    const double spacing = levels.grid.spacing_mm[slab.axis], rim = 1.5 * spacing;
    const int half = std::max(foam, (level_of(-1000) + inner_level(slab, coarse, levels) + 1) / 2);
    const int deeper = slab.from_end ? -1 : 1;   // index step from the face to the back
    for_slab(slab, levels.grid, coarse, 1, 0.99 * spacing,
             [&](const std::array<int, 3>& at, double behind, double before) {
               const std::size_t v = levels.grid.offset(at[0], at[1], at[2]);
               if (behind < 0) settle_rim(levels, slab, at, deeper, label, materials);
               else if (before < 0) settle_rim(levels, slab, at, -deeper, label, materials);
               else if (levels.values[v] >= (std::min(behind, before) > rim ? foam : half))
                 materials.values[v] = label;
             });
  }
}

}  // namespace leastharm::segment_detail
