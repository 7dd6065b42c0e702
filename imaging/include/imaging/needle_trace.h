#pragma once

#include <string>

#include "imaging/registration.h"

namespace leastharm {

/// A straight needle, or the channel that it left, as a CT shows it.
struct NeedleTrace {
  std::string seen;            ///< "needle" or "channel"
  Vec3 outer_lps_mm{0, 0, 0};  ///< where the trace begins, on the side of the expected entry
  Vec3 tip_lps_mm{0, 0, 0};    ///< its deep end
  double off_axis_mm =
      0;  ///< root mean square distance of its voxels from the axis: large where it is bent
};

/// Finds it within 25 mm of where it is expected, in the CT's own LPS. What was there before
/// (nails, an amulet, hollows) is known from the planning CT and not taken for it. Metal counts
/// above 1500 HU; a channel is where at least 100 HU of material are gone. It is at least 15 mm
/// long. The axis is fitted to the voxels' middles, the deep end is where HU along the axis cross
/// half way. Within 0.5 mm and 0.5 degrees on an invented body
/// (tests/imaging/needle_trace_test.cpp).
///
/// Throws BadInput where neither can be seen.
[[nodiscard]] NeedleTrace find_needle(const Volume<std::int16_t>& ct_hu,
                                      const Volume<std::int16_t>& planning_hu,
                                      const RigidTransform& planning_from_ct,
                                      const Vec3& entry_lps_mm, const Vec3& tip_lps_mm);

}  // namespace leastharm
