#pragma once

#include <vector>

#include "planner/assess.h"
#include "planner/entry.h"

namespace leastharm {

/// Axes of one shared hole may differ by this much, degrees.
inline constexpr double kFanAngle_deg = 20;

/// How the holes of several tracks overlap.
struct SharedHoles {
  std::vector<int> group;          ///< of each track; tracks of one group share a hole; -1 through an opening
  int count = 0;
  std::vector<double> own_part;    ///< of each track's hole: its share of the union, 1 where nobody shares it
};
/// A point of a hole lies in another track's hole where it lies inside that track's outer cylinder; points in several
/// holes are shared out evenly, so the parts add up to the union's area.
[[nodiscard]] SharedHoles shared_holes(const Body& body, const std::vector<TrackAssessment>& tracks);

/// Score of the tracks together: the sum of their scores, with hole and zone parts by each track's part of the union.
/// Material swept twice counts twice: each needle displaces it anew.
[[nodiscard]] double score_together(const std::vector<TrackAssessment>& tracks, const SharedHoles& holes);

/// Limits that concern tracks together; a finding goes to every track concerned and to the programme.
void check_together(const RequestFile& file, const SharedHoles& holes, std::vector<TrackAssessment>& tracks,
                    Programme& programme);

}  // namespace leastharm
