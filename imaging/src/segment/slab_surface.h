#pragma once

#include <vector>

#include "slabs.h"
#include "view.h"

namespace leastharm::segment_detail {

/// What lies behind a cell of a view.
struct Column {
  double run_mm = kNothing;   ///< matter behind the face before air; kNothing where it goes on too far
  bool bare = false;          ///< nothing but air behind
};

/// A layer as the view's blocks show it.
struct RoughSlab {
  Face face;
  std::vector<double> thickness_mm;   ///< for each column of the view
  std::vector<std::uint8_t> footprint;
};

/// The layer on the fine grid, its surfaces half way between the levels on both sides: a `flat` one moves as a whole, else every
/// column of blocks by itself.
[[nodiscard]] Slab fine_slab(const Volume<std::uint8_t>& levels, const Coarse& coarse, const View& view, const RoughSlab& rough,
                             const std::vector<Column>& columns, bool flat);

}  // namespace leastharm::segment_detail
