#include "planner/cylinder.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace leastharm {

double Cylinder::signed_distance_mm(const Vec3& point) const {
  const Vec3 r = point - start;
  const double depth = r.dot(axis);
  const double beside = std::sqrt(std::max(0.0, r.squaredNorm() - depth * depth)) - radius_mm;
  const double beyond = std::max(-depth, depth - length_mm);
  return std::min(std::max(beside, beyond), 0.0) + std::hypot(std::max(beside, 0.0), std::max(beyond, 0.0));
}

double Cylinder::volume_mm3() const { return std::numbers::pi * radius_mm * radius_mm * length_mm; }

Vec3 axis_of(const Track& track) { return (track.tip_lps_mm - track.entry_lps_mm).normalized(); }

double path_length_mm(const Track& track) { return (track.tip_lps_mm - track.entry_lps_mm).norm(); }

Cylinder outer_cylinder(const Track& track) {
  return {track.entry_lps_mm, axis_of(track), path_length_mm(track) + track.needle.dead_tip_mm,
          track.needle.outer_mm / 2};
}

Cylinder core_cylinder(const Track& track) {
  const Vec3 axis = axis_of(track);
  return {track.tip_lps_mm - track.needle.throw_mm * axis, axis, track.needle.throw_mm, track.needle.bore_mm / 2};
}

std::array<Vec3, 2> across(const Vec3& axis) {
  Eigen::Index smallest = 0;
  axis.cwiseAbs().minCoeff(&smallest);
  const Vec3 first = axis.cross(Vec3::Unit(smallest)).normalized();
  return {first, axis.cross(first)};
}

std::vector<DiscNode> disc_nodes(double radius_mm, int count) {
  const double golden_angle = std::numbers::pi * (3 - std::sqrt(5.0));
  std::vector<DiscNode> nodes(static_cast<std::size_t>(count));
  for (int n = 0; n < count; ++n) {
    const double r = radius_mm * std::sqrt((n + 0.5) / count);
    nodes[static_cast<std::size_t>(n)] = {r * std::cos(n * golden_angle), r * std::sin(n * golden_angle)};
  }
  return nodes;
}

int fine_node_count(double radius_mm, const Grid& grid) {
  const double cell_mm = 0.12 * grid.spacing_mm.minCoeff();
  const double count = std::numbers::pi * radius_mm * radius_mm / (cell_mm * cell_mm);
  return static_cast<int>(std::clamp(count, 600.0, 4000.0));
}

double segment_distance_mm(const Vec3& a0, const Vec3& a1, const Vec3& b0, const Vec3& b1) {
  const Vec3 u = a1 - a0, v = b1 - b0;
  const auto at_b = [&](const Vec3& p) { return std::clamp((p - b0).dot(v) / std::max(v.squaredNorm(), 1e-300), 0.0, 1.0); };
  const auto at_a = [&](const Vec3& p) { return std::clamp((p - a0).dot(u) / std::max(u.squaredNorm(), 1e-300), 0.0, 1.0); };
  const auto gap = [&](double s, double t) { return (a0 + s * u - b0 - t * v).norm(); };
  // The least distance is attained inside both segments or at an end of one of them.
  double best = std::min({gap(0, at_b(a0)), gap(1, at_b(a1)), gap(at_a(b0), 0), gap(at_a(b1), 1)});
  const double uu = u.squaredNorm(), vv = v.squaredNorm(), uv = u.dot(v), det = uu * vv - uv * uv;
  if (det > 1e-12 * uu * vv) {
    const Vec3 w = b0 - a0;
    const double s = (w.dot(u) * vv - w.dot(v) * uv) / det, t = (w.dot(u) * uv - w.dot(v) * uu) / det;
    if (s >= 0 && s <= 1 && t >= 0 && t <= 1) best = std::min(best, gap(s, t));
  }
  return best;
}

}  // namespace leastharm
