#include "planner/clearance.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "planner/voxel_walk.h"

namespace leastharm {

namespace {

constexpr int kBlockSide = 8;

bool on_border(const Mask& mask, VoxelIndex v) {
  return !(mask.contains({v.i - 1, v.j, v.k}) && mask.contains({v.i + 1, v.j, v.k}) &&
           mask.contains({v.i, v.j - 1, v.k}) && mask.contains({v.i, v.j + 1, v.k}) &&
           mask.contains({v.i, v.j, v.k - 1}) && mask.contains({v.i, v.j, v.k + 1}));
}

/// Unit direction in which the distance to the cylinder grows.
Vec3 away_from(const Cylinder& cylinder, const Vec3& point) {
  const Vec3 r = point - cylinder.start;
  const double depth = r.dot(cylinder.axis);
  const Vec3 side = r - depth * cylinder.axis;
  const double beside = side.norm() - cylinder.radius_mm;
  const double beyond = std::max(-depth, depth - cylinder.length_mm);
  const Vec3 outward = depth < 0 ? Vec3(-cylinder.axis) : cylinder.axis;
  if (beyond <= 0 && beside <= 0) return beside > beyond && side.norm() > 0 ? side.normalized() : outward;
  Vec3 direction = Vec3::Zero();
  if (beside > 0) direction += beside * side.normalized();
  if (beyond > 0) direction += beyond * outward;
  return direction.normalized();
}

/// Blocks in order of the least distance that any of their voxels can have.
std::vector<std::pair<double, const KeepOut::Block*>> nearest_first(const KeepOut& keep_out, const auto& distance) {
  std::vector<std::pair<double, const KeepOut::Block*>> order;
  order.reserve(keep_out.blocks().size());
  for (const KeepOut::Block& block : keep_out.blocks())
    order.emplace_back(distance(block.centre) - block.radius_mm - keep_out.largest_half_width_mm(), &block);
  std::ranges::sort(order, {}, [](const auto& entry) { return entry.first; });
  return order;
}

/// Least value of distance(centre) + reach(centre) over the border; a reach is at most half a voxel either way.
double least_over_border(const KeepOut& keep_out, const auto& distance, const auto& reach) {
  double best = std::numeric_limits<double>::infinity();
  for (const auto& [bound, block] : nearest_first(keep_out, distance)) {
    if (bound >= best) break;
    for (std::size_t n = block->begin; n < block->border_end; ++n) {
      const Vec3 centre = keep_out.cells()[n].centre();
      const double d = distance(centre);
      if (d - keep_out.largest_half_width_mm() < best) best = std::min(best, d + reach(centre));
    }
  }
  return best;
}

/// How far a point inside lies below the keep-out's border: to the far side of the nearest border voxel.
double depth_below_border_mm(const KeepOut& keep_out, const Vec3& point) {
  const auto away = [&](const Vec3& c) { return c == point ? Vec3::UnitX() : (c - point).normalized().eval(); };
  return least_over_border(
      keep_out, [&](const Vec3& c) { return (c - point).norm(); },
      [&](const Vec3& c) { return keep_out.half_width_mm(away(c)); });
}

/// How deep the axis lies in the keep-out at most; negative where it does not run there.
double axis_depth_mm(const KeepOut& keep_out, const Cylinder& cylinder) {
  const Mask& mask = keep_out.mask();
  double deepest = -1, last_depth = 0, last_at = 0;
  walk_voxels(mask.grid, cylinder.start, cylinder.axis, 0, cylinder.length_mm,
              [&](std::size_t, VoxelIndex v, double enter, double leave) {
                const double at = (enter + leave) / 2;
                // Depth changes by no more than the way gone, so most points need no search of their own.
                const bool may_be_deeper = deepest < 0 || last_depth + (at - last_at) > deepest;
                if (!may_be_deeper || !mask.contains(v)) return;
                last_depth = depth_below_border_mm(keep_out, cylinder.at(at));
                last_at = at;
                deepest = std::max(deepest, last_depth);
              });
  return deepest;
}

}  // namespace

KeepOut::KeepOut(std::string name, const Mask& mask) : name_(std::move(name)), mask_(&mask) {
  largest_half_width_mm_ = mask.grid.spacing_mm.maxCoeff() / 2;
  for (int k = 0; k < mask.box[2]; k += kBlockSide)
    for (int j = 0; j < mask.box[1]; j += kBlockSide)
      for (int i = 0; i < mask.box[0]; i += kBlockSide)
        add_block({mask.corner.i + i, mask.corner.j + j, mask.corner.k + k});
}

void KeepOut::add_block(VoxelIndex corner) {
  std::vector<Cell> border, inner;
  for (int k = corner.k; k < corner.k + kBlockSide; ++k)
    for (int j = corner.j; j < corner.j + kBlockSide; ++j)
      for (int i = corner.i; i < corner.i + kBlockSide; ++i) {
        if (!mask_->contains({i, j, k})) continue;
        const Eigen::Vector3f c = mask_->grid.lps_from_index(Vec3(i, j, k)).cast<float>();
        (on_border(*mask_, {i, j, k}) ? border : inner).push_back({c.x(), c.y(), c.z()});
      }
  if (border.empty() && inner.empty()) return;
  Block block;
  block.begin = cells_.size();
  block.border_end = block.begin + border.size();
  cells_.insert(cells_.end(), border.begin(), border.end());
  cells_.insert(cells_.end(), inner.begin(), inner.end());
  block.end = cells_.size();
  const auto begin = cells_.begin() + static_cast<std::ptrdiff_t>(block.begin);
  block.centre = std::accumulate(begin, cells_.end(), Vec3(Vec3::Zero()),
                                 [](const Vec3& sum, const Cell& c) { return Vec3(sum + c.centre()); }) /
                 static_cast<double>(block.end - block.begin);
  for (auto cell = begin; cell != cells_.end(); ++cell)
    block.radius_mm = std::max(block.radius_mm, (cell->centre() - block.centre).norm());
  blocks_.push_back(block);
}

double KeepOut::half_width_mm(const Vec3& direction) const {
  const Vec3 local = mask_->grid.direction.transpose() * direction;
  return 0.5 * local.cwiseProduct(mask_->grid.spacing_mm).norm();
}

bool KeepOut::meets(const Vec3& start_lps_mm, const Vec3& direction, double from_mm, double to_mm) const {
  bool met = false;
  walk_voxels(mask_->grid, start_lps_mm, direction, from_mm, to_mm, [&](std::size_t, VoxelIndex v, double, double) {
    met = mask_->contains(v);
    return !met;
  });
  return met;
}

double clearance_mm(const KeepOut& keep_out, const Cylinder& cylinder) {
  const double deepest = axis_depth_mm(keep_out, cylinder);
  if (deepest >= 0) return -(cylinder.radius_mm + deepest);
  const double to_border = least_over_border(
      keep_out, [&](const Vec3& c) { return cylinder.signed_distance_mm(c); },
      [&](const Vec3& c) { return -keep_out.half_width_mm(away_from(cylinder, c)); });
  return std::max(to_border, -cylinder.radius_mm);
}

}  // namespace leastharm
