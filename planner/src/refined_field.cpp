#include "refined_field.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "planner/counter_random.h"
#include "planner/cylinder.h"
#include "radial_kernel.h"
#include "workers.h"

namespace leastharm {
namespace {

using Voxel = std::array<int, 3>;
using Shares = std::map<Voxel, double>;

// Linear interpolation spreads what it interpolates; this much of a second difference taken off the nodes undoes most
// of it and halves the link error (measured).
constexpr double kSharpening = 0.04;

/// Stencils of all nodes of a voxel, sharpened. Node n of axis a lies n/factor voxels from the voxel's centre.
class NodeStencils {
 public:
  NodeStencils(double radius_mm, const Vec3& spacing_mm, const Voxel& factor) : factor_(factor) {
    for_each([&](const Voxel& sub) {
      const Vec3 shift(spacing_mm[0] * sub[0] / factor[0], spacing_mm[1] * sub[1] / factor[1], spacing_mm[2] * sub[2] / factor[2]);
      for (const Stencil::Tap& tap : radial_stencil(radius_mm, spacing_mm, shift).taps)
        shares_[sub][{tap.i, tap.j, tap.k}] = static_cast<double>(tap.weight);
    });
    for (std::size_t axis = 0; axis < 3; ++axis) sharpen(axis);
  }
  [[nodiscard]] const Shares& of(const Voxel& sub) const { return shares_.at(sub); }
  /// Stencil of any node, by its number; voxels counted from voxel 0.
  [[nodiscard]] const Shares& of_node(const Voxel& node, Voxel& base) const {
    Voxel sub;
    for (std::size_t a = 0; a < 3; ++a) {
      base[a] = static_cast<int>(std::floor(static_cast<double>(node[a]) / factor_[a]));
      sub[a] = node[a] - base[a] * factor_[a];
    }
    return shares_.at(sub);
  }
  template <typename Visit>
  void for_each(const Visit& visit) const {
    for (int c = 0; c < factor_[2]; ++c)
      for (int b = 0; b < factor_[1]; ++b)
        for (int a = 0; a < factor_[0]; ++a) visit(Voxel{a, b, c});
  }

 private:
  void sharpen(std::size_t axis) {
    std::map<Voxel, Shares> sharp;
    for_each([&](const Voxel& sub) {
      for (int step = -1; step <= 1; ++step) {
        Voxel near = sub, base{0, 0, 0};
        near[axis] += step;
        const Shares& source = of_node(near, base);
        for (const auto& [voxel, share] : source)
          sharp[sub][{voxel[0] + base[0], voxel[1] + base[1], voxel[2] + base[2]}] +=
              share * (step == 0 ? 1 + 2 * kSharpening : -kSharpening);
      }
    });
    shares_ = std::move(sharp);
  }

  Voxel factor_;
  std::map<Voxel, Shares> shares_;
};

}  // namespace

RefinedField::RefinedField(const Volume<float>& voxels, double radius_mm, const std::array<int, 3>& factor) : factor_(factor) {
  const auto& size = voxels.grid.size;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    size_[a] = (size[a] - 1) * factor[a] + 1;
    node_spacing_mm_[e] = voxels.grid.spacing_mm[e] / factor[a];
    inverse_[a] = static_cast<float>(1 / node_spacing_mm_[e]);
    limit_[a] = static_cast<float>(size_[a] - 1);
  }
  stride_j_ = size_[0];
  stride_k_ = stride_j_ * size_[1];
  nodes_.assign(static_cast<std::size_t>(stride_k_) * static_cast<std::size_t>(size_[2]), 0.0f);
  std::vector<char> empty(static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(size[2]));
  for (std::size_t row = 0; row < empty.size(); ++row) {
    const auto begin = voxels.values.begin() + static_cast<std::ptrdiff_t>(row * static_cast<std::size_t>(size[0]));
    empty[row] = std::all_of(begin, begin + size[0], [](float w) { return w == 0; });
  }
  const NodeStencils stencils(radius_mm, voxels.grid.spacing_mm, factor);
  for_each_chunk(static_cast<std::size_t>(size_[2]), 1, [&](std::size_t slice, std::size_t) {
    const int nk = static_cast<int>(slice), k = nk / factor[2];
    std::vector<float> row(static_cast<std::size_t>(size[0]));
    for (int nj = 0; nj < size_[1]; ++nj)
      for (int a = 0; a < factor[0]; ++a) {
        std::ranges::fill(row, 0.0f);
        for (const auto& [voxel, share] : stencils.of({a, nj % factor[1], nk % factor[2]})) {
          const int j = nj / factor[1] + voxel[1], sk = k + voxel[2];
          if (j < 0 || j >= size[1] || sk < 0 || sk >= size[2]) continue;
          if (empty[static_cast<std::size_t>(j) + static_cast<std::size_t>(sk) * static_cast<std::size_t>(size[1])]) continue;
          const float weight = static_cast<float>(share);
          const int first = std::max(0, -voxel[0]), last = std::min(size[0], size[0] - voxel[0]);
          const float* source = voxels.values.data() + voxels.grid.offset(0, j, sk) + voxel[0];
          for (int i = first; i < last; ++i) row[static_cast<std::size_t>(i)] += weight * source[i];
        }
        float* out = nodes_.data() + stride_j_ * nj + stride_k_ * nk + a;
        for (int i = 0; i * factor[0] + a < size_[0]; ++i) out[static_cast<std::ptrdiff_t>(i) * factor[0]] = row[static_cast<std::size_t>(i)];
      }
  });
}

std::array<int, 3> refinement_factor(const Grid& grid, double radius_mm, std::size_t most_nodes) {
  std::array<int, 3> factor;
  for (std::size_t a = 0; a < 3; ++a)
    factor[a] = 2 * std::clamp(static_cast<int>(std::ceil(grid.spacing_mm[static_cast<Eigen::Index>(a)] / radius_mm - 0.05)), 1, 3);
  const auto nodes = [&] {
    return grid.voxel_count() * static_cast<std::size_t>(factor[0] * factor[1] * factor[2]);
  };
  while (nodes() > most_nodes && factor != std::array{1, 1, 1}) {
    std::size_t finest = 0;   // coarsen the axis whose nodes lie closest
    double least = 1e300;
    for (std::size_t a = 0; a < 3; ++a)
      if (const double apart = grid.spacing_mm[static_cast<Eigen::Index>(a)] / factor[a]; factor[a] > 1 && apart < least)
        least = apart, finest = a;
    factor[finest] = std::max(1, factor[finest] - 2);   // even ones put nodes on the voxels' faces, where the field bends
  }
  return factor;
}

namespace {

/// One way a line may lie on the grid.
struct Lie {
  Vec3 start, direction;
  int axis;
};

Lie random_lie(const Vec3& spacing_mm, double tilt_deg, std::uint64_t n) {
  constexpr std::uint64_t kStream = 0x6c696e6b;
  Lie lie;
  for (int a = 0; a < 3; ++a) lie.start[a] = random_uniform(1, kStream + static_cast<std::uint64_t>(a), n) * spacing_mm[a];
  const double z = (2 * random_uniform(1, kStream + 3, n) - 1) * std::sin(std::min(tilt_deg, 90.0) * std::numbers::pi / 180);
  const double turn = 2 * std::numbers::pi * random_uniform(1, kStream + 4, n), flat = std::sqrt(1 - z * z);
  lie.direction = {flat * std::cos(turn), flat * std::sin(turn), z};
  lie.direction.cwiseAbs().maxCoeff(&lie.axis);
  if (lie.direction[lie.axis] < 0) lie.direction = -lie.direction;
  return lie;
}

/// The field's shares: what each voxel weighs in the sum along the line, in mm.
Shares field_shares(const NodeStencils& stencils, const Vec3& spacing_mm, const Voxel& factor, const Lie& lie, double reach) {
  Shares shares;
  const double step = spacing_mm[lie.axis] / lie.direction[lie.axis] / kSamplesPerLayer;
  const int steps = static_cast<int>(reach / step);
  for (int s = -steps; s <= steps; ++s) {
    Voxel low;
    std::array<double, 3> part;
    for (std::size_t a = 0; a < 3; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      const double u = (lie.start[e] + s * step * lie.direction[e]) / spacing_mm[e] * factor[a];
      low[a] = static_cast<int>(std::floor(u));
      part[a] = u - low[a];
    }
    for (int corner = 0; corner < 8; ++corner) {
      double weight = step;
      Voxel node = low, base;
      for (std::size_t a = 0; a < 3; ++a) {
        const bool upper = (corner >> a) & 1;
        node[a] += upper;
        weight *= upper ? part[a] : 1 - part[a];
      }
      for (const auto& [voxel, share] : stencils.of_node(node, base))
        shares[{voxel[0] + base[0], voxel[1] + base[1], voxel[2] + base[2]}] += weight * share;
    }
  }
  return shares;
}

/// The exact cylinder's shares, by many lines of equal area.
Shares cylinder_shares(const Vec3& spacing_mm, double radius_mm, const Lie& lie, double reach) {
  constexpr int kLines = 4000;
  Shares shares;
  const auto [e1, e2] = across(lie.direction);
  for (const DiscNode& node : disc_nodes(radius_mm, kLines)) {
    const Vec3 start = lie.start + node.x_mm * e1 + node.y_mm * e2 - reach * lie.direction;
    for (double t = 0; t < 2 * reach;) {
      Voxel voxel;
      double leave = 2 * reach;
      for (std::size_t a = 0; a < 3; ++a) {
        const auto e = static_cast<Eigen::Index>(a);
        const double d = lie.direction[e], x = start[e] + (t + 1e-9) * d;
        voxel[a] = static_cast<int>(std::floor(x / spacing_mm[e] + 0.5));
        if (std::abs(d) > 1e-12) leave = std::min(leave, ((voxel[a] + (d > 0 ? 0.5 : -0.5)) * spacing_mm[e] - start[e]) / d);
      }
      leave = std::max(leave, t + 1e-9);
      shares[voxel] += (leave - t) / kLines;
      t = leave;
    }
  }
  return shares;
}

}  // namespace

namespace {

constexpr int kMostRings = 8;

/// What is moved in one layer of one lie, by distance from the line's own voxel (the greater of the two across).
std::array<double, kMostRings> moved_in_layer(const Shares& difference, const Vec3& spacing_mm, const Lie& lie, int layer) {
  const auto axis = static_cast<std::size_t>(lie.axis);
  const double layer_mm = spacing_mm[lie.axis] / lie.direction[lie.axis];
  const Vec3 middle = lie.start + (layer * spacing_mm[lie.axis] - lie.start[lie.axis]) / lie.direction[lie.axis] * lie.direction;
  std::array<double, kMostRings> moved{};
  for (const auto& [voxel, share] : difference) {
    if (voxel[axis] != layer) continue;
    int ring = 0;
    for (std::size_t a = 0; a < 3; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      if (a != axis) ring = std::max(ring, std::abs(voxel[a] - static_cast<int>(std::floor(middle[e] / spacing_mm[e] + 0.5))));
    }
    moved[static_cast<std::size_t>(std::min(ring, kMostRings - 1))] += std::abs(share) / layer_mm;
  }
  return moved;
}

}  // namespace

Refinement link_error(const Vec3& spacing_mm, double radius_mm, const std::array<int, 3>& factor, double tilt_deg) {
  constexpr std::size_t kLies = 400;
  constexpr double kNothing = 1e-6;
  const NodeStencils stencils(radius_mm, spacing_mm, factor);
  const double reach = 2 * (radius_mm + spacing_mm.norm());
  std::vector<std::array<double, kMostRings>> most(kLies);
  for_each_chunk(kLies, 8, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const Lie lie = random_lie(spacing_mm, tilt_deg, n);
      Shares difference = field_shares(stencils, spacing_mm, factor, lie, reach);
      for (const auto& [voxel, share] : cylinder_shares(spacing_mm, radius_mm, lie, reach)) difference[voxel] -= share;
      most[n].fill(0);
      for (int layer = -1; layer <= 1; ++layer) {   // the outer layers are cut by `reach`
        const auto moved = moved_in_layer(difference, spacing_mm, lie, layer);
        most[n][0] = std::max(most[n][0], moved[0] + moved[1]);
        for (std::size_t ring = 2; ring < kMostRings; ++ring) most[n][ring] = std::max(most[n][ring], moved[ring]);
      }
    }
  });
  std::array<double, kMostRings> worst{};
  for (const auto& of : most)
    for (std::size_t ring = 0; ring < kMostRings; ++ring) worst[ring] = std::max(worst[ring], 1.1 * of[ring]);
  Refinement refinement{factor, worst[0], {}};
  for (std::size_t ring = 2; ring < kMostRings && worst[ring] > kNothing; ++ring) refinement.ring_share.push_back(worst[ring]);
  return refinement;
}

}  // namespace leastharm
