#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "coarse.h"

namespace leastharm::segment_detail {

/// One connected piece of a set.
struct Piece {
  std::size_t blocks = 0;
  std::array<int, 3> low{}, high{};   ///< its box, both ends inside
};

/// The pieces of a set, in the order of their first block.
struct Pieces {
  std::vector<std::int32_t> piece;   ///< for each block its piece, -1 outside the set
  std::vector<Piece> list;
};

/// Connected pieces by runs along i: blocks touch by face (`corners` false) or also by edge and corner.
[[nodiscard]] Pieces pieces_of(const Coarse& coarse, const std::vector<std::uint8_t>& set, bool corners);

}  // namespace leastharm::segment_detail
