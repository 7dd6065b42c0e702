#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "classes.h"
#include "coarse.h"

namespace leastharm::segment_detail {

/// Levels of one kind of matter, as a normal distribution.
struct Normal {
  double mean = 0, deviation = 1;
};

/// Of levels, by those near the middle one: some are of what lies beside.
[[nodiscard]] Normal normal_near_middle(std::vector<double> levels);

/// For each level, how much likelier it is resin than tissue (log of the odds).
using Favour = std::array<float, 256>;
[[nodiscard]] Favour favour_of(const Normal& resin, const Normal& tissue);

/// Voxels each way whose levels are judged together: 2.5 mm, and no single voxel.
[[nodiscard]] std::array<int, 3> reach_of_judgement(const Grid& grid);

/// What may be a pool of resin.
struct Pool {
  std::vector<std::size_t> blocks, ring;   ///< surely resin where they hold tissue; to be judged voxel by voxel
  Favour favour{};
};

/// Labels the tissue of a pool's blocks as resin, and that of its ring where a voxel's neighbourhood favours it.
void label_pool(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool, int threads, Volume<std::uint8_t>& codes);

/// A pool's edge, where its surface meets the vessel's wall, is thinner than the windows in which evenness is told: one block on from those
/// of the ring that turned out as resin.
void widen(const Volume<std::uint8_t>& levels, const Coarse& coarse, int threads, Pool& pool, Volume<std::uint8_t>& codes);

/// The pool's rim towards air and bone mixes with them: tissue between resin and any of them is resin.
void close_rim(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Pool& pool, Volume<std::uint8_t>& codes);

}  // namespace leastharm::segment_detail
