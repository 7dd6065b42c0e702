#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "imaging/finding.h"
#include "imaging/grid.h"
#include "intake_scan.h"

namespace leastharm {

/// A slice as scanned, in the frame of the volume that it goes into.
struct PlacedSlice {
  std::size_t frame = 0;         ///< into the scan
  double along_mm = 0;           ///< from the first slice, along the slice normal
  double i_shift = 0, j_shift = 0;   ///< index of its first pixel in the volume's slices, voxels
};

/// What a slice of the volume is made from: one scanned slice, or two around it.
struct SliceMix {
  std::size_t first = 0, second = 0;   ///< into the placed slices
  double second_weight = 0;            ///< 0: the first alone
};

/// How a group of frames becomes a volume.
struct StackPlan {
  Grid grid;
  double tilt_deg = 0;
  std::vector<PlacedSlice> slices;   ///< ascending
  std::vector<SliceMix> mixes;       ///< one a slice of the grid
  bool is_shifted = false;           ///< slices must be moved sideways onto the grid
  bool is_mixed = false;             ///< some slices are interpolated
  std::vector<Finding> findings;
  [[nodiscard]] bool usable() const;
};

/// Plans a volume from image positions and orientations alone. Reads pixels only to compare slices at one place.
/// Where the group makes no volume, the findings say why at level `refused`.
[[nodiscard]] StackPlan plan_stack(const Scan& scan, const FrameGroup& group, bool allow_gaps);

}  // namespace leastharm
