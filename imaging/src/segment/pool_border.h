#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// What may be a pool of resin.
struct Pool {
  std::vector<std::size_t> blocks, ring;   ///< surely resin where they hold tissue; to be judged voxel by voxel
  std::array<float, 256> favour{};         ///< for each level, how much likelier it is resin than tissue (log)
};

/// Index of a voxel from its offset.
[[nodiscard]] std::array<int, 3> voxel_at(const Grid& grid, std::size_t v);

/// Labels the tissue of a pool's blocks as resin, and that of its ring where a voxel's neighbourhood favours it.
void label_pool(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool, int threads, Volume<std::uint8_t>& codes);

/// A pool's edge, where its surface meets the vessel's wall, is thinner than the windows in which evenness is told: one block on from those
/// of the ring that turned out as resin.
void widen(const Volume<std::uint8_t>& levels, const Coarse& coarse, int threads, Pool& pool, Volume<std::uint8_t>& codes);

/// The pool's rim towards air and bone mixes with them: tissue between resin and any of them is resin.
void close_rim(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
