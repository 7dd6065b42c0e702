#pragma once

#include <string>
#include <vector>

#include "planner/assess.h"

namespace leastharm {

/// What the needle's axis meets, sampled along the depth; depth 0 is the entry.
struct NeedleLog {
  struct Sample {
    double depth_mm = 0;
    double hu = 0;          ///< NaN where the scan has no reading
    double confidence = 0;  ///< of the material map, 0 to 1
    double keep_out_mm =
        0;  ///< from the needle's outer surface to the nearest keep-out; infinite without any
  };
  std::vector<Sample> samples;
  std::string nearest;  ///< keep-out that comes nearest, empty without any
  double nearest_mm = 0, nearest_at_mm = 0;
};
[[nodiscard]] NeedleLog log_along(const Body& body, const Track& track, double from_mm,
                                  double to_mm, double step_mm);

/// Unit vector from entry to tip.
[[nodiscard]] Vec3 direction_of(const Track& track);
/// From the entry to the end of the steel.
[[nodiscard]] double reach_mm(const TrackAssessment& track);
/// Where the core lies along the depth.
[[nodiscard]] double core_from_mm(const TrackAssessment& track);
[[nodiscard]] Vec3 core_centre(const TrackAssessment& track);

}  // namespace leastharm
