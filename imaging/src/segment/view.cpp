#include "view.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

namespace leastharm::segment_detail {

std::size_t View::block(const Coarse& coarse, int u, int v, int layer) const {
  std::array<int, 3> at{};
  at[static_cast<std::size_t>(axis)] = from_end ? layers - 1 - layer : layer;
  at[static_cast<std::size_t>(u_axis)] = u;
  at[static_cast<std::size_t>(v_axis)] = v;
  return coarse.offset(at[0], at[1], at[2]);
}

int View::seen() const {
  return static_cast<int>(std::count_if(depth.begin(), depth.end(), [](double d) { return d != kNothing; }));
}

View make_view(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled, int axis,
               bool from_end) {
  constexpr int kLeastShare = 64;
  View view;
  view.axis = axis;
  view.from_end = from_end;
  view.u_axis = axis == 0 ? 1 : 0;
  view.v_axis = axis == 2 ? 1 : 2;
  view.columns = coarse.size[static_cast<std::size_t>(view.u_axis)];
  view.rows = coarse.size[static_cast<std::size_t>(view.v_axis)];
  view.layers = coarse.size[static_cast<std::size_t>(axis)];
  view.u_mm = coarse.spacing_mm[view.u_axis];
  view.v_mm = coarse.spacing_mm[view.v_axis];
  view.layer_mm = coarse.spacing_mm[axis];
  view.depth.assign(static_cast<std::size_t>(view.columns) * static_cast<std::size_t>(view.rows), kNothing);
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u)
      for (int layer = 0; layer < view.layers; ++layer) {
        const std::size_t block = view.block(coarse, u, v, layer);
        if (peeled[block] || shares.matter[block] < kLeastShare) continue;
        view.depth[view.cell(u, v)] = (layer + 1 - shares.matter[block] / 255.0) * view.layer_mm;
        break;
      }
  return view;
}

namespace {

struct Plane {
  double depth = 0, u = 0, v = 0;

  [[nodiscard]] double at(const View& view, int cu, int cv) const {
    return depth + u * (cu * view.u_mm) + v * (cv * view.v_mm);
  }
};

/// Least squares plane over the cells that `keep` accepts.
template <typename Keep>
std::optional<Plane> fit(const View& view, int u0, int u1, int v0, int v1, const Keep& keep) {
  Mat3 a = Mat3::Zero();
  Vec3 b = Vec3::Zero();
  int count = 0;
  for (int v = v0; v < v1; ++v)
    for (int u = u0; u < u1; ++u) {
      const double d = view.depth[view.cell(u, v)];
      if (d == kNothing || !keep(u, v, d)) continue;
      const Vec3 row{1, u * view.u_mm, v * view.v_mm};
      a += row * row.transpose();
      b += d * row;
      ++count;
    }
  if (count < 12) return std::nullopt;
  const Vec3 x = a.ldlt().solve(b);
  if (!x.allFinite()) return std::nullopt;
  return Plane{x[0], x[1], x[2]};
}

int inliers(const View& view, const Plane& plane, double tolerance, int step) {
  int count = 0;
  for (int v = 0; v < view.rows; v += step)
    for (int u = 0; u < view.columns; u += step)
      count += std::abs(view.depth[view.cell(u, v)] - plane.at(view, u, v)) < tolerance;
  return count;
}

/// Patches of 7 x 7 cells propose planes; the one that holds most of the view wins.
std::optional<Plane> proposed_plane(const View& view, double tolerance) {
  constexpr double kSteepest = 1.2;
  const int stride = std::max(4, std::max(view.columns, view.rows) / 14);
  std::optional<Plane> best;
  int most = 0;
  for (int v = 3; v + 4 <= view.rows; v += stride)
    for (int u = 3; u + 4 <= view.columns; u += stride) {
      const auto plane = fit(view, u - 3, u + 4, v - 3, v + 4, [](int, int, double) { return true; });
      if (!plane || std::abs(plane->u) > kSteepest || std::abs(plane->v) > kSteepest) continue;
      const int count = inliers(view, *plane, tolerance, 3);
      if (count > most) most = count, best = plane;
    }
  return best;
}

/// The commonest of some depths (within `tolerance`), and how many agree with it.
struct Common {
  double depth = kNothing;
  int agreeing = 0, all = 0;
};
Common commonest(std::vector<double> depths, double tolerance) {
  Common best;
  best.all = static_cast<int>(depths.size());
  std::sort(depths.begin(), depths.end());
  for (std::size_t first = 0, last = 0; first < depths.size(); ++first) {
    while (last < depths.size() && depths[last] - depths[first] <= 2 * tolerance) ++last;
    if (static_cast<int>(last - first) <= best.agreeing) continue;
    best.agreeing = static_cast<int>(last - first);
    best.depth = depths[(first + last - 1) / 2];
  }
  return best;
}

}  // namespace

std::optional<Face> flat_face(const View& view) {
  const double tolerance = std::max(0.5 * view.layer_mm, 1.0);
  auto best = proposed_plane(view, tolerance);
  for (int round = 0; best && round < 4; ++round) {
    const Plane last = *best;
    const double reach = tolerance * (round < 2 ? 1.5 : 1.0);
    best = fit(view, 0, view.columns, 0, view.rows,
               [&](int u, int v, double d) { return std::abs(d - last.at(view, u, v)) < reach; });
  }
  if (!best) return std::nullopt;
  Face face;
  face.slope_v = best->v;
  for (int u = 0; u < view.columns; ++u) face.profile_mm.push_back(best->depth + best->u * (u * view.u_mm));
  return face;
}

std::optional<Face> drawn_out_face(const View& view) {
  constexpr double kLeastAgreement = 0.75, kLeastColumns = 0.75;
  const double tolerance = std::max(0.6 * view.layer_mm, 1.2);
  Face face;
  int columns = 0, agreeing = 0;
  for (int u = 0; u < view.columns; ++u) {
    std::vector<double> depths;
    for (int v = 0; v < view.rows; ++v)
      if (view.depth[view.cell(u, v)] != kNothing) depths.push_back(view.depth[view.cell(u, v)]);
    const Common common = commonest(std::move(depths), tolerance);
    const bool drawn_out = common.all * 2 > view.rows && common.agreeing >= kLeastAgreement * common.all;
    face.profile_mm.push_back(drawn_out ? common.depth : kNothing);
    columns += common.all > 0;
    agreeing += drawn_out;
  }
  if (columns < 8 || agreeing < kLeastColumns * columns) return std::nullopt;
  return face;
}

}  // namespace leastharm::segment_detail
