#include "planner/actual.h"

#include <cmath>
#include <numbers>

#include "planner/cylinder.h"

namespace leastharm {

Track begun_before(Track track, double by_mm) {
  track.entry_lps_mm -= by_mm * axis_of(track);
  return track;
}

OffPlan off_plan(const Track& planned, const Track& actual) {
  const Vec3 axis = axis_of(planned), tip = actual.tip_lps_mm - planned.tip_lps_mm;
  OffPlan off;
  off.entry_mm = (actual.entry_lps_mm - planned.entry_lps_mm).norm();
  off.tip_mm = tip.norm();
  off.tip_along_mm = tip.dot(axis);
  off.tip_across_mm = (tip - off.tip_along_mm * axis).norm();
  off.angle_deg = std::atan2(axis.cross(axis_of(actual)).norm(), axis.dot(axis_of(actual))) * 180 /
                  std::numbers::pi;
  return off;
}

nlohmann::json to_json(const OffPlan& off) {
  return {{"entry_mm", off.entry_mm},
          {"tip_mm", off.tip_mm},
          {"tip_across_mm", off.tip_across_mm},
          {"tip_along_mm", off.tip_along_mm},
          {"angle_deg", off.angle_deg}};
}

TrackAssessment assess_actual(const OpenedCase& volumes, const RequestFile& request, Track actual) {
  constexpr double kBack_mm = 10;  // an entry read off a picture may lie a little below the surface
  actual = begun_before(std::move(actual), kBack_mm);
  return assess(volumes.body, request, {actual}).tracks.front();
}

}  // namespace leastharm
