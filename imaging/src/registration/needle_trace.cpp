#include "imaging/needle_trace.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <vector>

#include "imaging/error.h"

namespace leastharm {
namespace {

constexpr double kReach_mm = 25;  // about the expected axis, and beyond its ends
constexpr double kBlur_mm = 3;    // registration and slice thickness move borders by so much
constexpr double kMetal_hu = 1500, kMetalMore_hu = 600, kGone_hu = 100, kHollow_hu = -850;
constexpr double kLeastVolume_mm3 = 25, kLeastLength_mm = 15, kMostOffAxis_mm = 4;

/// Trilinear HU; air outside.
double hu_at(const Volume<std::int16_t>& hu, const Vec3& lps_mm) {
  const Vec3 c = hu.grid.index_from_lps(lps_mm);
  const Vec3 low(std::floor(c.x()), std::floor(c.y()), std::floor(c.z()));
  double sum = 0;
  for (int corner = 0; corner < 8; ++corner) {
    double w = 1;
    VoxelIndex v;
    int* const at[] = {&v.i, &v.j, &v.k};
    for (int a = 0; a < 3; ++a) {
      const int up = corner >> a & 1;
      *at[a] = static_cast<int>(low[a]) + up;
      w *= up != 0 ? c[a] - low[a] : 1 - (c[a] - low[a]);
    }
    sum += w * (hu.grid.contains(v) && hu.at(v) != kNoReadingHu ? hu.at(v) : -1000);
  }
  return sum;
}

struct Axis {
  Vec3 start{0, 0, 0}, direction{0, 0, 1};
  [[nodiscard]] double depth(const Vec3& p) const { return (p - start).dot(direction); }
  [[nodiscard]] double off(const Vec3& p) const { return (p - start).cross(direction).norm(); }
};

/// HU that the planning CT shows close about a place, least and most.
std::pair<double, double> known_about(const Volume<std::int16_t>& planning, const Vec3& at) {
  constexpr int kSteps = 2;
  std::pair<double, double> known{1e9, -1e9};
  for (int c = -kSteps; c <= kSteps; ++c)
    for (int b = -kSteps; b <= kSteps; ++b)
      for (int a = -kSteps; a <= kSteps; ++a) {
        if (a * a + b * b + c * c > kSteps * kSteps + 1) continue;
        const double hu = hu_at(planning, at + kBlur_mm / kSteps * Vec3(a, b, c));
        known = {std::min(known.first, hu), std::max(known.second, hu)};
      }
  return known;
}

struct Candidates {
  std::vector<Vec3> metal, hollow;  ///< voxels that were something else before
};

Candidates look_around(const Volume<std::int16_t>& ct, const Volume<std::int16_t>& planning,
                       const RigidTransform& planning_from_ct, const Axis& expected,
                       double length_mm) {
  Candidates found;
  const Grid& g = ct.grid;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j)
      for (int i = 0; i < g.size[0]; ++i) {
        const double hu = ct.at({i, j, k});
        if (hu <= kMetal_hu && hu >= kHollow_hu) continue;
        const Vec3 place = g.lps_from_index({double(i), double(j), double(k)});
        const double depth = expected.depth(place);
        if (depth < -kReach_mm || depth > length_mm + kReach_mm || expected.off(place) > kReach_mm)
          continue;
        const Vec3 before = planning_from_ct.apply(place);
        if (hu > kMetal_hu ? hu < hu_at(planning, before) + kMetalMore_hu
                           : hu > hu_at(planning, before) - kGone_hu)
          continue;
        const auto [least, most] = known_about(planning, before);
        if (hu > most + kMetalMore_hu) found.metal.push_back(place);
        if (hu < least - kGone_hu) found.hollow.push_back(place);
      }
  return found;
}

/// A line through voxels, found from the expected one by narrowing down; those that lie off it are
/// dropped.
Axis fit_line(std::vector<Vec3>& voxels, Axis axis, double width_mm) {
  for (const double within : {kReach_mm, 12.0, 6.0, 4.0, 3.0, 3.0}) {
    std::vector<Vec3> near;
    for (const Vec3& v : voxels)
      if (axis.off(v) <= std::max(within, width_mm)) near.push_back(v);
    if (near.size() < 8) break;
    Vec3 middle = Vec3::Zero();
    for (const Vec3& v : near) middle += v / static_cast<double>(near.size());
    Mat3 spread = Mat3::Zero();
    for (const Vec3& v : near) spread += (v - middle) * (v - middle).transpose();
    Vec3 along = Eigen::SelfAdjointEigenSolver<Mat3>(spread).eigenvectors().col(2);
    if (along.dot(axis.direction) < 0) along = -along;
    axis = {middle, along};
    if (within <= 3) voxels = std::move(near);
  }
  return axis;
}

/// Mean HU of a small disc across the axis: a bore on the axis itself is no end.
double disc_hu(const Volume<std::int16_t>& ct, const Axis& axis, double depth_mm) {
  constexpr double kRadius_mm = 1.2;
  const Vec3 middle = axis.start + depth_mm * axis.direction, one = axis.direction.unitOrthogonal(),
             other = axis.direction.cross(one);
  double sum = hu_at(ct, middle);
  for (int n = 0; n < 6; ++n) {
    const double angle = n * std::numbers::pi / 3;
    sum += hu_at(ct, middle + kRadius_mm * (std::cos(angle) * one + std::sin(angle) * other));
  }
  return sum / 7;
}

/// Depth at which HU, going from inside the trace to its deep end, cross half way to what lies
/// beyond.
double end_of(const Volume<std::int16_t>& ct, const Axis& axis, double inside_mm, double seen_mm,
              double step_mm) {
  std::vector<double> inner;
  for (double t = inside_mm; t < seen_mm; t += step_mm) inner.push_back(disc_hu(ct, axis, t));
  std::ranges::sort(inner);
  const double within = inner[inner.size() / 2],
               half = 0.5 * (within + disc_hu(ct, axis, seen_mm + 5));
  for (double t = seen_mm + 4; t > inside_mm; t -= step_mm)
    if ((disc_hu(ct, axis, t) > half) == (within > half)) return t;
  return seen_mm;
}

/// Empty where the voxels form no long straight thing.
std::optional<NeedleTrace> trace_of(const Volume<std::int16_t>& ct, std::vector<Vec3> voxels,
                                    const Axis& expected, const char* seen) {
  if (static_cast<double>(voxels.size()) <
      std::max(8.0, kLeastVolume_mm3 / ct.grid.voxel_volume_mm3()))
    return std::nullopt;
  const double width = ct.grid.spacing_mm.maxCoeff();
  const Axis axis = fit_line(voxels, expected, width);
  std::vector<double> depths;
  double squares = 0;
  for (const Vec3& v : voxels)
    depths.push_back(axis.depth(v)), squares += axis.off(v) * axis.off(v);
  std::ranges::sort(depths);
  const double last = depths[depths.size() - 1 - depths.size() / 100],
               middle = depths[depths.size() / 2];
  if (last - depths[depths.size() / 100] < kLeastLength_mm) return std::nullopt;
  NeedleTrace trace{.seen = seen};
  trace.outer_lps_mm = axis.start + depths[depths.size() / 100] * axis.direction;
  trace.tip_lps_mm = axis.start + end_of(ct, axis, middle, last, 0.1) * axis.direction;
  trace.off_axis_mm = std::sqrt(squares / static_cast<double>(voxels.size()));
  if (trace.off_axis_mm > kMostOffAxis_mm) return std::nullopt;
  return trace;
}

}  // namespace

NeedleTrace find_needle(const Volume<std::int16_t>& ct_hu, const Volume<std::int16_t>& planning_hu,
                        const RigidTransform& planning_from_ct, const Vec3& entry_lps_mm,
                        const Vec3& tip_lps_mm) {
  const double length = (tip_lps_mm - entry_lps_mm).norm();
  const Axis expected{entry_lps_mm, (tip_lps_mm - entry_lps_mm) / length};
  Candidates found = look_around(ct_hu, planning_hu, planning_from_ct, expected, length);
  if (auto needle = trace_of(ct_hu, std::move(found.metal), expected, "needle")) return *needle;
  if (auto channel = trace_of(ct_hu, std::move(found.hollow), expected, "channel")) return *channel;
  throw BadInput(
      "neither a needle nor the channel of one can be seen within 25 mm of where it was planned: "
      "check that this CT "
      "was taken with the needle in place, or after it, or give its position with --taken FILE");
}

}  // namespace leastharm
