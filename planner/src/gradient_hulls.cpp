#include "gradient_hulls.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "workers.h"

namespace leastharm {
namespace {

constexpr double kBlockMm = 1.4;   // spacing of the finest hulls, about

using Triple = std::array<float, 3>;

float square(const Triple& a) { return a[0] * a[0] + a[1] * a[1] + a[2] * a[2]; }

/// Distance from g to the segment from 0 to p.
float from_segment(const Triple& g, const Triple& p, float p_square) {
  float t = p_square > 0 ? (g[0] * p[0] + g[1] * p[1] + g[2] * p[2]) / p_square : 0;
  t = std::clamp(t, 0.0f, 1.0f);
  return std::sqrt(square({g[0] - t * p[0], g[1] - t * p[1], g[2] - t * p[2]}));
}

/// Greatest (or least) value within `reach` along one axis, in place.
template <bool greatest>
void filter_axis(std::vector<float>& values, const std::array<int, 3>& size, std::size_t axis, int reach) {
  if (reach == 0) return;
  const std::array<std::size_t, 3> stride{1, static_cast<std::size_t>(size[0]),
                                          static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(size[1])};
  const std::size_t a = axis == 0 ? 1 : 0, b = axis == 2 ? 1 : 2;   // the two other axes
  const int n = size[axis];
  for_each_chunk(static_cast<std::size_t>(size[b]), 1, [&](std::size_t v, std::size_t) {
    std::vector<float> line(static_cast<std::size_t>(n));
    for (std::size_t u = 0; u < static_cast<std::size_t>(size[a]); ++u) {
      float* start = values.data() + u * stride[a] + v * stride[b];
      for (int q = 0; q < n; ++q) line[static_cast<std::size_t>(q)] = start[static_cast<std::size_t>(q) * stride[axis]];
      for (int q = 0; q < n; ++q) {
        const auto begin = line.begin() + std::max(0, q - reach), end = line.begin() + std::min(n, q + reach + 1);
        start[static_cast<std::size_t>(q) * stride[axis]] = greatest ? *std::max_element(begin, end) : *std::min_element(begin, end);
      }
    }
  });
}

/// Greatest and least weight within `reach` voxels across the leading axis.
struct Extremes {
  std::vector<float> most, least;
  void grow(const std::array<int, 3>& size, std::size_t leading, int reach) {
    for (std::size_t axis = 0; axis < 3; ++axis) {
      if (axis == leading) continue;
      filter_axis<true>(most, size, axis, reach);
      filter_axis<false>(least, size, axis, reach);
    }
  }
};

/// A node's gradients: a ball that holds those of all cells it belongs to.
struct Ball {
  Triple middle;
  float radius;
};

/// The balls of a few neighbouring slices of nodes, made as they are asked for.
class NodeBalls {
 public:
  NodeBalls(const RefinedField& field, int slices) : field_(field), size_(field.nodes()), kept_(static_cast<std::size_t>(slices)) {
    for (std::size_t a = 0; a < 3; ++a) inverse_[a] = static_cast<float>(0.5 / field.node_spacing_mm()[static_cast<Eigen::Index>(a)]);
  }

  const Ball* slice(int k) {
    Kept& kept = kept_[static_cast<std::size_t>(k) % kept_.size()];
    if (kept.k == k) return kept.balls.data();
    kept.k = k;
    kept.balls.resize(static_cast<std::size_t>(size_[0]) * static_cast<std::size_t>(size_[1]));
    for (int j = 0; j < size_[1]; ++j) fill_row(j, k, kept.balls.data() + static_cast<std::ptrdiff_t>(j) * size_[0]);
    return kept.balls.data();
  }

 private:
  struct Kept {
    int k = -1;
    std::vector<Ball> balls;
  };

  void fill_row(int j, int k, Ball* out) const {
    const float* here = field_.row(j, k);
    const std::array<const float*, 2> beside{field_.row(std::max(0, j - 1), k), field_.row(std::min(size_[1] - 1, j + 1), k)};
    const std::array<const float*, 2> above{field_.row(j, std::max(0, k - 1)), field_.row(j, std::min(size_[2] - 1, k + 1))};
    for (int i = 0; i < size_[0]; ++i) {
      const float c = here[i], left = here[std::max(0, i - 1)], right = here[std::min(size_[0] - 1, i + 1)];
      const Triple half{(right + left - 2 * c) * inverse_[0], (beside[1][i] + beside[0][i] - 2 * c) * inverse_[1],
                        (above[1][i] + above[0][i] - 2 * c) * inverse_[2]};
      out[i] = {{(right - left) * inverse_[0], (beside[1][i] - beside[0][i]) * inverse_[1], (above[1][i] - above[0][i]) * inverse_[2]},
                std::sqrt(square(half))};
    }
  }

  const RefinedField& field_;
  std::array<int, 3> size_;
  Triple inverse_{};
  std::vector<Kept> kept_;
};

/// The hull of balls.
void take_in(GradientHull& hull, const std::vector<Ball>& balls) {
  Triple p{0, 0, 0};
  float longest = 0;
  for (const Ball& b : balls)
    if (const float s = square(b.middle); s > longest) longest = s, p = b.middle;
  for (const Ball& b : balls) hull.radius = std::max(hull.radius, from_segment(b.middle, p, longest) + b.radius);
  hull.x = p[0], hull.y = p[1], hull.z = p[2];
}

/// The hull of two hulls.
void merge(GradientHull& a, const GradientHull& b) {
  const Triple pa{a.x, a.y, a.z}, pb{b.x, b.y, b.z};
  const float sa = square(pa), sb = square(pb);
  if (sa >= sb) {
    a.radius = std::max(a.radius, from_segment(pb, pa, sa) + b.radius);
  } else {
    a.radius = std::max(b.radius, from_segment(pa, pb, sb) + a.radius);
    a.x = b.x, a.y = b.y, a.z = b.z;
  }
  a.low = std::min(a.low, b.low);
  a.floor = std::min(a.floor, b.floor);
  for (std::size_t axis = 0; axis < 3; ++axis) a.link[axis] = std::max(a.link[axis], b.link[axis]);
}

/// Blocks filled on all cores, `chunk` slices at a time, then numbered in order.
template <typename Fill>
void fill_level(const std::array<int, 3>& size, std::vector<std::uint32_t>& index, std::vector<GradientHull>& hulls, int chunk,
                const Fill& fill) {
  const std::size_t slice = static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(size[1]);
  index.assign(slice * static_cast<std::size_t>(size[2]), 0);
  std::vector<std::vector<GradientHull>> of_slice(static_cast<std::size_t>(size[2]));
  for_each_chunk(static_cast<std::size_t>(size[2]), static_cast<std::size_t>(chunk), [&](std::size_t begin, std::size_t end) {
    auto visit = fill();
    for (std::size_t k = begin; k < end; ++k)
      for (int j = 0; j < size[1]; ++j)
        for (int i = 0; i < size[0]; ++i) {
          GradientHull hull;
          if (!visit(i, j, static_cast<int>(k), hull)) continue;
          of_slice[k].push_back(hull);
          index[static_cast<std::size_t>(i) + static_cast<std::size_t>(size[0]) * static_cast<std::size_t>(j) + slice * k] =
              static_cast<std::uint32_t>(of_slice[k].size());
        }
  });
  hulls.assign(1, {});
  for (std::size_t k = 0; k < of_slice.size(); ++k) {
    const auto before = static_cast<std::uint32_t>(hulls.size() - 1);
    for (std::size_t n = k * slice; n < (k + 1) * slice; ++n)
      if (index[n] != 0) index[n] += before;
    hulls.insert(hulls.end(), of_slice[k].begin(), of_slice[k].end());
    of_slice[k] = {};
  }
}

}  // namespace

namespace {

/// Per voxel, over all that a finest hull near it takes in: greatest link errors, least weight. Where the link errors
/// are zero the weights are even for several voxels around, and so is the field.
struct VoxelFacts {
  std::array<std::vector<float>, 3> link;
  std::vector<float> floor;

  VoxelFacts(const Volume<float>& voxels, const Refinement& refinement)
      : link(link_errors(voxels, refinement)), floor(voxels.values) {
    for (std::size_t axis = 0; axis < 3; ++axis) {
      // A finest hull reaches about a block to each side; blocks are about as wide as voxels, or narrower.
      const auto e = static_cast<Eigen::Index>(axis);
      const int reach = static_cast<int>(std::ceil(2 * kBlockMm / voxels.grid.spacing_mm[e]));
      for (std::vector<float>& of : link) filter_axis<true>(of, voxels.grid.size, axis, reach);
      filter_axis<false>(floor, voxels.grid.size, axis, reach + static_cast<int>(refinement.ring_share.size()));
    }
  }
};

}  // namespace

std::array<std::vector<float>, 3> link_errors(const Volume<float>& voxels, const Refinement& refinement) {
  std::array<std::vector<float>, 3> errors;
  for (std::size_t leading = 0; leading < 3; ++leading) {
    std::vector<float>& error = errors[leading];
    Extremes extremes{voxels.values, voxels.values};
    extremes.grow(voxels.grid.size, leading, 1);
    error.resize(voxels.values.size());
    std::vector<float> middle(error.size());
    for (std::size_t v = 0; v < error.size(); ++v) {
      middle[v] = (extremes.most[v] + extremes.least[v]) / 2;
      error[v] = static_cast<float>(refinement.near_share) * (extremes.most[v] - extremes.least[v]) / 2;
    }
    for (const double share : refinement.ring_share) {
      extremes.grow(voxels.grid.size, leading, 1);
      for (std::size_t v = 0; v < error.size(); ++v)
        error[v] += static_cast<float>(share) * std::max(extremes.most[v] - middle[v], middle[v] - extremes.least[v]);
    }
  }
  return errors;
}

void GradientHulls::Level::set_geometry(const Vec3& spacing, const std::array<int, 3>& blocks) {
  spacing_mm = spacing;
  size = blocks;
  for (std::size_t a = 0; a < 3; ++a) inverse[a] = static_cast<float>(1 / spacing[static_cast<Eigen::Index>(a)]);
  stride_j = size[0];
  stride_k = stride_j * size[1];
}

GradientHulls::GradientHulls(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement) {
  make_finest(field, voxels, refinement);
  make_next(1);
  while (levels_.back().radius_mm < 12) make_next(2);
}

void GradientHulls::make_finest(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement) {
  Level& level = levels_.emplace_back();
  const Vec3 node = field.node_spacing_mm();
  std::array<int, 3> nodes_per_block, size, reach;
  Vec3 spacing;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    nodes_per_block[a] = std::max(1, static_cast<int>(std::lround(kBlockMm / node[e])));
    size[a] = (field.nodes()[a] - 1) / nodes_per_block[a] + 1;
    spacing[e] = node[e] * nodes_per_block[a];
  }
  level.set_geometry(spacing, size);
  level.radius_mm = spacing.minCoeff() / 2;
  for (std::size_t a = 0; a < 3; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    reach[a] = static_cast<int>(std::ceil((spacing[e] / 2 + level.radius_mm) / node[e] - 1e-6));
  }
  VoxelFacts facts(voxels, refinement);
  const auto voxel_of = [&](int node_index, std::size_t a) {
    return std::min((node_index + refinement.factor[a] / 2) / refinement.factor[a], voxels.grid.size[a] - 1);
  };
  constexpr int kChunk = 8;   // slices of blocks that share slices of nodes
  const int slices = 2 * reach[2] + 1;
  fill_level(level.size, level.index, level.hulls, kChunk, [&] {
    return [&, balls = NodeBalls(field, slices), near = std::vector<Ball>()](int bi, int bj, int bk, GradientHull& hull) mutable {
      const std::array<int, 3> block{bi, bj, bk};
      std::array<int, 3> middle, low, high;
      for (std::size_t a = 0; a < 3; ++a) {
        middle[a] = block[a] * nodes_per_block[a];
        low[a] = std::max(0, middle[a] - reach[a]);
        high[a] = std::min(field.nodes()[a] - 1, middle[a] + reach[a]);
      }
      const std::size_t voxel = voxels.grid.offset(voxel_of(middle[0], 0), voxel_of(middle[1], 1), voxel_of(middle[2], 2));
      for (std::size_t a = 0; a < 3; ++a) hull.link[a] = facts.link[a][voxel];
      if (hull.link[0] + hull.link[1] + hull.link[2] <= 0) return false;
      hull.floor = facts.floor[voxel];
      hull.low = std::numeric_limits<float>::max();
      near.clear();
      for (int k = low[2]; k <= high[2]; ++k) {
        const Ball* slice = balls.slice(k);
        for (int j = low[1]; j <= high[1]; ++j) {
          const float* row = field.row(j, k);
          const Ball* of_row = slice + static_cast<std::ptrdiff_t>(j) * field.nodes()[0];
          for (int i = low[0]; i <= high[0]; ++i) hull.low = std::min(hull.low, row[i]);
          near.insert(near.end(), of_row + low[0], of_row + high[0] + 1);
        }
      }
      take_in(hull, near);
      return true;
    };
  });
}

/// Each block of the next level takes in 3 x 3 x 3 of this one, every `stride`-th is kept.
void GradientHulls::make_next(int stride) {
  const Level& from = levels_.back();
  Level level;
  std::array<int, 3> size;
  for (std::size_t a = 0; a < 3; ++a) size[a] = (from.size[a] - 1) / stride + 1;
  level.set_geometry(from.spacing_mm * stride, size);
  // Half a block and the radius together are what a block takes in, on both levels; neighbours add their distance.
  level.radius_mm = from.radius_mm + (1.5 * from.spacing_mm - 0.5 * level.spacing_mm).minCoeff();
  fill_level(level.size, level.index, level.hulls, 1, [&] {
    return [&](int bi, int bj, int bk, GradientHull& hull) {
      bool any = false;
      for (int k = std::max(0, bk * stride - 1); k <= std::min(from.size[2] - 1, bk * stride + 1); ++k)
        for (int j = std::max(0, bj * stride - 1); j <= std::min(from.size[1] - 1, bj * stride + 1); ++j)
          for (int i = std::max(0, bi * stride - 1); i <= std::min(from.size[0] - 1, bi * stride + 1); ++i) {
            const std::uint32_t n = from.index[static_cast<std::size_t>(i + from.stride_j * j + from.stride_k * k)];
            if (n == 0) continue;
            if (any) merge(hull, from.hulls[n]);
            else hull = from.hulls[n];
            any = true;
          }
      return any;
    };
  });
  levels_.push_back(std::move(level));
}

}  // namespace leastharm
