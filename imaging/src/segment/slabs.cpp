#include "slabs.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

namespace leastharm::segment_detail {
namespace {

constexpr double kNothing = std::numeric_limits<double>::infinity();
constexpr int kSolidHu = -965;            ///< mean of a block that is not just air: foam counts
constexpr double kGap_mm = 8;             ///< air this deep ends a slab
constexpr double kThickest_mm = 120, kThinnest_mm = 1.5;
constexpr double kLeastFaceShare = 0.35;  ///< of what is seen from one end
constexpr double kLeastFreeShare = 0.10;  ///< of the face that must be seen to end in air

/// What is seen from one end of the volume: the depth of the first matter in every column of blocks.
struct View {
  int axis = 0;
  bool from_end = false;
  int u_axis = 0, v_axis = 0, columns = 0, rows = 0, layers = 0;
  double u_mm = 1, v_mm = 1, layer_mm = 1;   ///< block edges
  std::vector<double> depth;                 ///< of the surface, mm, u fastest; kNothing where there is none

  [[nodiscard]] std::size_t cell(int u, int v) const {
    return static_cast<std::size_t>(u) + static_cast<std::size_t>(columns) * static_cast<std::size_t>(v);
  }
};

/// Walks blocks in the order seen from one end.
std::size_t block_at(const Coarse& coarse, const View& view, int u, int v, int layer) {
  std::array<int, 3> at{};
  at[static_cast<std::size_t>(view.axis)] = view.from_end ? view.layers - 1 - layer : layer;
  at[static_cast<std::size_t>(view.u_axis)] = u;
  at[static_cast<std::size_t>(view.v_axis)] = v;
  return coarse.offset(at[0], at[1], at[2]);
}

View make_view(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled, int axis,
               bool from_end) {
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
        const std::size_t block = block_at(coarse, view, u, v, layer);
        if (peeled[block] || shares.matter[block] < 64) continue;
        view.depth[view.cell(u, v)] = (layer + 1 - shares.matter[block] / 255.0) * view.layer_mm;
        break;
      }
  return view;
}

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

/// The plane that holds most of the view's surface; patches of 7 x 7 cells propose.
std::optional<Plane> best_plane(const View& view) {
  const double tolerance = std::max(0.5 * view.layer_mm, 1.0);
  const int stride = std::max(4, std::max(view.columns, view.rows) / 14);
  std::optional<Plane> best;
  int most = 0;
  for (int v = 3; v + 4 <= view.rows; v += stride)
    for (int u = 3; u + 4 <= view.columns; u += stride) {
      const auto plane = fit(view, u - 3, u + 4, v - 3, v + 4, [](int, int, double) { return true; });
      if (!plane || std::abs(plane->u) > 1.2 || std::abs(plane->v) > 1.2) continue;
      const int count = inliers(view, *plane, tolerance, 3);
      if (count > most) most = count, best = plane;
    }
  for (int round = 0; best && round < 4; ++round) {
    const Plane last = *best;
    const double reach = tolerance * (round < 2 ? 1.5 : 1.0);
    best = fit(view, 0, view.columns, 0, view.rows,
               [&](int u, int v, double d) { return std::abs(d - last.at(view, u, v)) < reach; });
  }
  return best;
}

/// How far a column's matter goes on behind the surface before air; kNothing where it goes on too far.
double run_length(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled,
                  const View& view, int u, int v) {
  const double surface = view.depth[view.cell(u, v)];
  double end = surface, gap = 0;
  for (int layer = static_cast<int>(surface / view.layer_mm); layer < view.layers; ++layer) {
    const std::size_t block = block_at(coarse, view, u, v, layer);
    const bool solid = !peeled[block] && shares.mean_hu[block] > kSolidHu;
    if (solid) {
      const bool whole = layer + 1 == view.layers || shares.matter[block] == 255;
      end = whole ? (layer + 1) * view.layer_mm : (layer + shares.matter[block] / 255.0) * view.layer_mm;
      end = std::max(end, surface + shares.matter[block] / 255.0 * view.layer_mm);
      gap = 0;
    } else if ((gap += view.layer_mm) >= kGap_mm) {
      return end - surface;
    }
    if (end - surface > kThickest_mm) return kNothing;
  }
  return end - surface;
}

struct Thickness {
  double mm = 0, share = 0;
};

/// The commonest run length over the face's cells.
Thickness common_thickness(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled,
                           const View& view, const std::vector<std::uint8_t>& face) {
  std::vector<int> counts(static_cast<std::size_t>(2 * kThickest_mm) + 8);
  std::vector<double> runs;
  int cells = 0;
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u) {
      if (!face[view.cell(u, v)]) continue;
      ++cells;
      const double run = run_length(coarse, shares, peeled, view, u, v);
      if (run == kNothing) continue;
      runs.push_back(run);
      ++counts[static_cast<std::size_t>(run * 2)];
    }
  int best = -1;
  std::size_t where = 0;
  for (std::size_t b = 3; b + 3 < counts.size(); ++b) {
    int sum = 0;
    for (std::size_t n = b - 3; n <= b + 3; ++n) sum += counts[n];
    if (sum > best) best = sum, where = b;
  }
  double sum = 0;
  int near = 0;
  for (const double run : runs)
    if (std::abs(run - (static_cast<double>(where) / 2 + 0.25)) <= 2) sum += run, ++near;
  if (near == 0) return {};
  return {sum / near, static_cast<double>(near) / cells};
}

std::optional<Slab> slab_in(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled,
                            const View& view) {
  int seen = 0;
  for (const double d : view.depth) seen += d != kNothing;
  const auto plane = best_plane(view);
  if (!plane || seen == 0) return std::nullopt;
  Slab slab{view.axis, view.from_end, plane->depth, plane->u, plane->v, 0, {}};
  slab.footprint.assign(view.depth.size(), 0);
  int face = 0;
  const double tolerance = std::max(0.6 * view.layer_mm, 1.2);
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u)
      if (std::abs(view.depth[view.cell(u, v)] - plane->at(view, u, v)) < tolerance)
        slab.footprint[view.cell(u, v)] = 1, ++face;
  if (face < kLeastFaceShare * seen) return std::nullopt;
  const Thickness thickness = common_thickness(coarse, shares, peeled, view, slab.footprint);
  if (thickness.share < kLeastFreeShare || thickness.mm < kThinnest_mm) return std::nullopt;
  slab.thickness_mm = thickness.mm;
  return slab;
}

/// From cells of blocks (whose depth counts from the volume's face) to fine voxel centres (from the first centre).
void to_fine(Slab& slab, const Grid& grid, const Coarse& coarse) {
  const double spacing_u = grid.spacing_mm[slab.u_axis()], spacing_v = grid.spacing_mm[slab.v_axis()];
  const double spacing = grid.spacing_mm[slab.axis];
  const double half_u = 0.5 * (coarse.spacing_mm[slab.u_axis()] - spacing_u);
  const double half_v = 0.5 * (coarse.spacing_mm[slab.v_axis()] - spacing_v);
  slab.depth_mm -= slab.slope_u * half_u + slab.slope_v * half_v + 0.5 * spacing;
  if (!slab.from_end) return;
  const int n = grid.size[static_cast<std::size_t>(slab.axis)];
  const int padded = coarse.size[static_cast<std::size_t>(slab.axis)] * coarse.factor[static_cast<std::size_t>(slab.axis)];
  slab.depth_mm -= (padded - n) * spacing;
}

void peel(const std::vector<Slab>& slabs, const Grid& grid, const Coarse& coarse, std::vector<std::uint8_t>& peeled) {
  peeled = blocks_of(slabs, grid, coarse);
}

}  // namespace

std::vector<Slab> find_slabs(const Grid& grid, const Coarse& coarse, const Shares& shares) {
  std::vector<Slab> slabs;
  std::vector<std::uint8_t> peeled(coarse.count());
  for (int axis = 0; axis < 3; ++axis)
    for (const bool from_end : {false, true})
      for (int layer = 0; layer < 3; ++layer) {
        auto slab = slab_in(coarse, shares, peeled, make_view(coarse, shares, peeled, axis, from_end));
        if (!slab) break;
        to_fine(*slab, grid, coarse);
        slabs.push_back(std::move(*slab));
        peel(slabs, grid, coarse, peeled);
      }
  return slabs;
}

namespace {

/// Visits the fine voxels of a slab's columns: work(offset, depth behind the face, mm).
template <typename Work>
void for_slab(const Slab& slab, const Grid& grid, const Coarse& coarse, double before_mm, double behind_mm,
              const Work& work) {
  const auto ua = static_cast<std::size_t>(slab.u_axis()), va = static_cast<std::size_t>(slab.v_axis()),
             wa = static_cast<std::size_t>(slab.axis);
  const int columns = coarse.size[ua], rows = coarse.size[va], layers = grid.size[wa];
  const double spacing = grid.spacing_mm[slab.axis];
  for (int v = 0; v < grid.size[va]; ++v)
    for (int u = 0; u < grid.size[ua]; ++u) {
      const int cu = u / coarse.factor[ua], cv = v / coarse.factor[va];
      if (!slab.footprint[static_cast<std::size_t>(cu) + static_cast<std::size_t>(columns) * static_cast<std::size_t>(cv)])
        continue;
      const double face = slab.face_mm(u * grid.spacing_mm[slab.u_axis()], v * grid.spacing_mm[slab.v_axis()]);
      const int first = std::max(0, static_cast<int>(std::ceil((face - before_mm) / spacing)));
      const int last = std::min(layers - 1, static_cast<int>(std::floor((face + slab.thickness_mm + behind_mm) / spacing)));
      for (int w = first; w <= last; ++w) {
        std::array<int, 3> at{};
        at[ua] = u, at[va] = v, at[wa] = slab.from_end ? layers - 1 - w : w;
        work(at);
      }
    }
  (void)rows;
}

}  // namespace

std::vector<std::uint8_t> blocks_of(const std::vector<Slab>& slabs, const Grid& grid, const Coarse& coarse) {
  std::vector<std::uint16_t> voxels(coarse.count());
  for (const Slab& slab : slabs) {
    const double reach = 0.5 * grid.spacing_mm[slab.axis];
    for_slab(slab, grid, coarse, 2 * reach, reach, [&](const std::array<int, 3>& at) {
      ++voxels[coarse.offset(at[0] / coarse.factor[0], at[1] / coarse.factor[1], at[2] / coarse.factor[2])];
    });
  }
  const int half = coarse.factor[0] * coarse.factor[1] * coarse.factor[2] / 2;
  std::vector<std::uint8_t> blocks(coarse.count());
  for (std::size_t v = 0; v < blocks.size(); ++v) blocks[v] = voxels[v] >= std::max(1, half);
  return blocks;
}

void mark_slabs(const std::vector<Slab>& slabs, const Coarse& coarse, const Volume<std::uint8_t>& levels,
                int least_level, std::uint8_t label, Volume<std::uint8_t>& materials) {
  for (const Slab& slab : slabs) {
    const double voxel = levels.grid.spacing_mm[slab.axis];
    for_slab(slab, levels.grid, coarse, 1.5 * voxel, 0.0, [&](const std::array<int, 3>& at) {
      const std::size_t v = levels.grid.offset(at[0], at[1], at[2]);
      if (levels.values[v] >= least_level) materials.values[v] = label;
    });
  }
}

}  // namespace leastharm::segment_detail
