#include "window/aim.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/crossing.h"
#include "planner/cylinder.h"

namespace leastharm {
namespace {

constexpr double kFreeAirMm = 25;
constexpr double kReachMm = 400;
constexpr double kLeastPathMm = 1;
constexpr int kDirections = 36;

}  // namespace

Vec3 outside_of(const Body& body, const Vec3& entry_lps_mm, const Vec3& tip_lps_mm) {
  const Vec3 out = (entry_lps_mm - tip_lps_mm).normalized();
  const double step = body.grid.spacing_mm.minCoeff() / 2;
  double last_object = 0;
  for (double at = -step; at < kReachMm && at - last_object < kFreeAirMm; at += step) {
    const VoxelIndex v = body.grid.voxel_at(entry_lps_mm + at * out);
    if (!body.grid.contains(v)) break;
    const Material m = body.material_at(v);
    if (m == Material::support) break;
    if (is_object(m)) last_object = at + 2 * step;
  }
  return entry_lps_mm + std::max(0.0, last_object) * out;
}

Track with_tip(Track track, const Vec3& tip_lps_mm) {
  if ((tip_lps_mm - track.entry_lps_mm).norm() >= kLeastPathMm) track.tip_lps_mm = tip_lps_mm;
  return track;
}

Track with_entry(const Body& body, Track track, const Vec3& entry_lps_mm) {
  if ((track.tip_lps_mm - entry_lps_mm).norm() < kLeastPathMm) return track;
  track.entry_lps_mm = outside_of(body, entry_lps_mm, track.tip_lps_mm);
  return track;
}

Track shifted(const Body& body, Track track, const Vec3& by_mm) {
  track.tip_lps_mm += by_mm;
  track.entry_lps_mm += by_mm;
  return with_entry(body, track, track.entry_lps_mm);
}

Track deepened(Track track, double mm) {
  const double length = std::max(kLeastPathMm, path_length_mm(track) + mm);
  track.tip_lps_mm = track.entry_lps_mm + length * axis_of(track);
  return track;
}

Track turned(const Body& body, Track track, const Vec3& axis, double degrees) {
  const Eigen::AngleAxisd turn(degrees * std::numbers::pi / 180, axis);
  track.tip_lps_mm = track.entry_lps_mm + turn * (track.tip_lps_mm - track.entry_lps_mm);
  return with_entry(body, track, track.entry_lps_mm);
}

Track first_aim(const Body& body, const Vec3& target_lps_mm, const Needle& needle) {
  Track best;
  double least = std::numeric_limits<double>::infinity();
  // In the plane of the scanner's slice, which is what people can steer best.
  for (int n = 0; n < kDirections; ++n) {
    const double angle = 2 * std::numbers::pi * n / kDirections;
    const Vec3 out =
        std::cos(angle) * body.grid.direction.col(0) + std::sin(angle) * body.grid.direction.col(1);
    const auto way = crossings_along(body, target_lps_mm, out, 0, kReachMm);
    if (length_in(way, Material::support) > 0) continue;
    double through = 0;
    for (const Crossing& c : way)
      if (is_object(c.material)) through = c.to_mm;
    if (through <= 0 || through >= least) continue;
    least = through;
    best = {.entry_lps_mm = target_lps_mm + (through + 1) * out,
            .tip_lps_mm = target_lps_mm,
            .needle = needle};
  }
  if (!std::isfinite(least))
    best = {.entry_lps_mm = target_lps_mm - 60 * body.grid.direction.col(1),
            .tip_lps_mm = target_lps_mm,
            .needle = needle};
  return best;
}

}  // namespace leastharm
