#pragma once

#include <array>
#include <cstdint>

#include "coarse.h"
#include "imaging/grid.h"
#include "imaging/material.h"
#include "parallel.h"

namespace leastharm::segment_detail {

/// A voxel's state while the map is being made: the material it holds so far, and on which side of the envelope it lies.
namespace code {
inline constexpr std::uint8_t kMaterial = 0x07;
inline constexpr std::uint8_t kCount = 0x38;      ///< a small count, for passes of one's own
inline constexpr std::uint8_t kMixed = 0x10;      ///< of these: looks like fibre, but lies on a climb from air to tissue
inline constexpr std::uint8_t kOutside = 0x40;
inline constexpr std::uint8_t kInside = 0x80;
inline constexpr std::uint8_t kSide = kOutside | kInside;
}  // namespace code

/// Changes every code by itself.
template <typename Change>
void change_codes(int threads, const Change& change, Volume<std::uint8_t>& codes) {
  const std::size_t slice = codes.values.size() / static_cast<std::size_t>(codes.grid.size[2]);
  for_chunks(codes.grid.size[2], 4, threads, [&](int, int first, int last) {
    std::uint8_t* const end = codes.values.data() + slice * static_cast<std::size_t>(last);
    for (std::uint8_t* c = codes.values.data() + slice * static_cast<std::size_t>(first); c != end; ++c) *c = change(*c);
  });
}

[[nodiscard]] constexpr std::uint8_t label(Material m) { return static_cast<std::uint8_t>(m); }

/// First materials by level alone: air, wrapping (for all loose fibre), body (all tissue and resin), bone (all mineral).
/// Where HU climb without rest from one kind of matter to another, the voxel belongs to the nearer of both,
/// and not to what its mixed HU looks like: half tissue, half air is no linen. Such voxels are flagged as mixed, because round a
/// body in thin linen they may be linen all the same.
void classify(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, double noise_hu, int threads,
              Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
