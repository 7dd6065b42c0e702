#include "needle_log.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "slice.h"

namespace leastharm {
namespace {

/// Centres of the mask's voxels that have a neighbour outside it.
std::vector<Vec3> rim_of(const Mask& mask) {
  std::vector<Vec3> rim;
  for (int k = 0; k < mask.box[2]; ++k)
    for (int j = 0; j < mask.box[1]; ++j)
      for (int i = 0; i < mask.box[0]; ++i) {
        const VoxelIndex v{mask.corner.i + i, mask.corner.j + j, mask.corner.k + k};
        if (!mask.contains(v)) continue;
        const bool inner =
            mask.contains({v.i - 1, v.j, v.k}) && mask.contains({v.i + 1, v.j, v.k}) &&
            mask.contains({v.i, v.j - 1, v.k}) && mask.contains({v.i, v.j + 1, v.k}) &&
            mask.contains({v.i, v.j, v.k - 1}) && mask.contains({v.i, v.j, v.k + 1});
        if (!inner) rim.push_back(mask.grid.lps_from_index(Vec3(v.i, v.j, v.k)));
      }
  return rim;
}

double distance_to(const std::vector<Vec3>& points, const Vec3& p) {
  double least = std::numeric_limits<double>::infinity();
  for (const Vec3& q : points) least = std::min(least, (q - p).squaredNorm());
  return std::sqrt(least);
}

void add_keep_out(NeedleLog& log, const Mark& mark, const Track& track, double reach_mm) {
  const std::vector<Vec3> rim = rim_of(mark.mask);
  const Vec3 direction = direction_of(track);
  for (NeedleLog::Sample& sample : log.samples) {
    // Beyond the steel's end the distance is that of the end.
    const double depth = std::min(sample.depth_mm, reach_mm);
    const double free =
        distance_to(rim, track.entry_lps_mm + depth * direction) - track.needle.outer_mm / 2;
    sample.keep_out_mm = std::min(sample.keep_out_mm, free);
    if (log.nearest.empty() || free < log.nearest_mm) {
      log.nearest = mark.name;
      log.nearest_mm = free;
      log.nearest_at_mm = depth;
    }
  }
}

}  // namespace

NeedleLog log_along(const Body& body, const Track& track, double from_mm, double to_mm,
                    double step_mm) {
  NeedleLog log;
  const Vec3 direction = direction_of(track);
  for (double depth = from_mm; depth <= to_mm; depth += step_mm) {
    const Vec3 p = track.entry_lps_mm + depth * direction;
    const VoxelIndex v = body.grid.voxel_at(p);
    const double confidence =
        body.grid.contains(v) ? body.confidence[body.grid.offset(v)] / 255.0 : 0;
    log.samples.push_back(
        {depth, hu_at(body, p), confidence, std::numeric_limits<double>::infinity()});
  }
  const double reach = (track.tip_lps_mm - track.entry_lps_mm).norm() + track.needle.dead_tip_mm;
  for (const Mark& mark : body.marks)
    if (mark.kind == MarkKind::keep_out) add_keep_out(log, mark, track, reach);
  return log;
}

Vec3 direction_of(const Track& track) {
  return (track.tip_lps_mm - track.entry_lps_mm).normalized();
}

double reach_mm(const TrackAssessment& track) {
  return track.path_length_mm + track.track.needle.dead_tip_mm;
}

double core_from_mm(const TrackAssessment& track) {
  return std::max(0.0, track.path_length_mm - track.track.needle.throw_mm);
}

Vec3 core_centre(const TrackAssessment& track) {
  return track.track.tip_lps_mm -
         direction_of(track.track) * (track.path_length_mm - core_from_mm(track)) / 2;
}

}  // namespace leastharm
