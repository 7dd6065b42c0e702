#pragma once

#include <span>
#include <vector>

namespace leastharm {

/// Slices that ought to lie between two that are there.
struct Gap {
  double from_mm = 0, to_mm = 0;   ///< places of the slices beside it, along the slice normal
  int missing = 0;
};

/// How the places of a stack's slices are spaced.
struct SliceSpacing {
  double step_mm = 0;          ///< of the even grid that holds them
  int count = 0;               ///< slices of that grid; slice 0 lies at the first place
  bool even = true;            ///< every place lies on the grid
  double worst_mm = 0;         ///< farthest that a place lies from its even one, where taken as even
  std::vector<Gap> gaps;
};

/// Finds the even grid of ascending, distinct places (at least two), mm. A distance is a gap where it stands alone
/// and is well over its neighbours; a distance that repeats is a second spacing, and the finest one makes the grid.
[[nodiscard]] SliceSpacing find_spacing(std::span<const double> places_mm);

}  // namespace leastharm
