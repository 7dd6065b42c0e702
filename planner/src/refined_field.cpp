#include "refined_field.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "radial_kernel.h"
#include "workers.h"

namespace leastharm {
namespace {

using Voxel = std::array<int, 3>;
using Shares = std::map<Voxel, double>;

// Linear interpolation spreads what it interpolates; this much of a second difference taken off the nodes undoes most
// of it and halves what the sum along a line is off (measured).
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

RefinedField::RefinedField(const Volume<float>& voxels, double radius_mm, const std::array<int, 3>& factor) {
  constexpr std::uint32_t kEdge = 4;   // of a brick
  const auto& size = voxels.grid.size;
  std::array<int, 3> nodes;
  std::uint32_t within = 1, between = kEdge * kEdge * kEdge;   // steps from node to node in a brick, and from brick to brick
  for (std::size_t a = 0; a < 3; ++a) {
    nodes[a] = (size[a] - 1) * factor[a] + 1;
    inverse_[a] = static_cast<float>(factor[a] / voxels.grid.spacing_mm[static_cast<Eigen::Index>(a)]);
    limit_[a] = static_cast<float>(nodes[a] - 1);
    place_[a].resize(static_cast<std::size_t>(nodes[a]));
    for (std::uint32_t n = 0; n < place_[a].size(); ++n) place_[a][n] = n / kEdge * between + n % kEdge * within;
    between *= (static_cast<std::uint32_t>(nodes[a]) + kEdge - 1) / kEdge;
    within *= kEdge;
  }
  nodes_.resize(between);
  std::vector<char> empty(static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(size[2]));
  for (std::size_t row = 0; row < empty.size(); ++row) {
    const auto begin = voxels.values.begin() + static_cast<std::ptrdiff_t>(row * static_cast<std::size_t>(size[0]));
    empty[row] = std::all_of(begin, begin + size[0], [](float w) { return w == 0; });
  }
  const NodeStencils stencils(radius_mm, voxels.grid.spacing_mm, factor);
  for_each_chunk(static_cast<std::size_t>(nodes[2]), 1, [&](std::size_t slice, std::size_t) {
    const int nk = static_cast<int>(slice), k = nk / factor[2];
    std::vector<float> row(static_cast<std::size_t>(size[0]));
    for (int nj = 0; nj < nodes[1]; ++nj)
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
        const std::uint32_t to = place_[1][static_cast<std::size_t>(nj)] + place_[2][slice];
        for (int i = 0; i * factor[0] + a < nodes[0]; ++i)
          nodes_[to + place_[0][static_cast<std::size_t>(i * factor[0] + a)]] = ShortFloat(row[static_cast<std::size_t>(i)]);
      }
  });
}

Volume<float> RefinedField::least_in_blocks(double block_mm) const {
  Volume<float> least;
  least.grid.spacing_mm = Vec3::Constant(block_mm);
  for (std::size_t a = 0; a < 3; ++a) least.grid.size[a] = static_cast<int>(limit_[a] / inverse_[a] / static_cast<float>(block_mm));
  least.values.resize(least.grid.voxel_count());
  // F is linear between nodes: its least in a block is not below that of all nodes of the cells that reach into it.
  const auto nodes_of = [&](std::size_t axis, int block) {
    const double per_block = block_mm * static_cast<double>(inverse_[axis]);
    return std::pair{static_cast<std::size_t>(std::floor(block * per_block)),
                     std::min(place_[axis].size() - 1, static_cast<std::size_t>(std::ceil((block + 1) * per_block)))};
  };
  const int ni = least.grid.size[0], nj = least.grid.size[1];
  for_each_chunk(static_cast<std::size_t>(least.grid.size[2]), 1, [&](std::size_t slice, std::size_t) {
    const int k = static_cast<int>(slice);
    const auto [first_k, last_k] = nodes_of(2, k);
    std::vector<float> rows(place_[1].size() * static_cast<std::size_t>(ni), std::numeric_limits<float>::infinity());   // of all these slices
    for (std::size_t c = first_k; c <= last_k; ++c)
      for (std::size_t b = 0; b < place_[1].size(); ++b)
        for (int i = 0; i < ni; ++i) {
          const auto [first, last] = nodes_of(0, i);
          float& value = rows[b * static_cast<std::size_t>(ni) + static_cast<std::size_t>(i)];
          for (std::size_t a = first; a <= last; ++a) value = std::min(value, static_cast<float>(nodes_[place_[0][a] + place_[1][b] + place_[2][c]]));
        }
    for (int j = 0; j < nj; ++j) {
      const auto [first, last] = nodes_of(1, j);
      float* const to = least.values.data() + least.grid.offset(0, j, k);
      std::fill_n(to, ni, std::numeric_limits<float>::infinity());
      for (std::size_t b = first; b <= last; ++b)
        for (int i = 0; i < ni; ++i) to[i] = std::min(to[i], rows[b * static_cast<std::size_t>(ni) + static_cast<std::size_t>(i)]);
      for (int i = 0; i < ni; ++i) to[i] = std::max(0.0f, to[i]);   // sharpening may have gone below
    }
  });
  return least;
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

}  // namespace leastharm
