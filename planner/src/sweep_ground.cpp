#include "sweep_ground.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "workers.h"

namespace leastharm {
namespace {

/// Extreme of each voxel's box of `reach` voxels around, along one axis after the other.
template <typename T, typename Pick>
void filter(const Grid& grid, std::vector<T>& values, const std::array<int, 3>& reach, const Pick& pick) {
  for (int axis = 0; axis < 3; ++axis) {
    const int r = reach[static_cast<std::size_t>(axis)], size = grid.size[static_cast<std::size_t>(axis)];
    if (r == 0) continue;
    const std::size_t stride = axis == 0 ? 1 : axis == 1 ? grid.offset(0, 1, 0) : grid.offset(0, 0, 1);
    const std::vector<T> from = values;
    for_each_chunk(values.size(), 1 << 16, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n) {
        const int at = static_cast<int>(n / stride % static_cast<std::size_t>(size));
        T best = from[n];
        for (int s = std::max(-r, -at); s <= std::min(r, size - 1 - at); ++s)
          best = pick(best, from[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(n) + s * static_cast<std::ptrdiff_t>(stride))]);
        values[n] = best;
      }
    });
  }
}

std::uint8_t most(std::uint8_t a, std::uint8_t b) { return std::max(a, b); }

VoxelIndex block_at(const Vec3& p) {
  const Vec3 b = p / SweepGround::kBlock_mm;
  return {static_cast<int>(std::floor(b.x())), static_cast<int>(std::floor(b.y())), static_cast<int>(std::floor(b.z()))};
}

}  // namespace

Spacing spacing_of(double step_mm, const Needle& needle) {
  const double part = step_mm / needle.outer_mm;
  return part < 0.334 ? Spacing::fine : part < 0.667 ? Spacing::middling : Spacing::coarse;
}

double layer_mm(double step_mm, const Needle& needle) {
  constexpr double kFinest_mm = 0.7;
  const double radius = needle.outer_mm / 2;
  return radius / std::ceil(radius / std::max(step_mm, kFinest_mm));
}

SweepWeights::SweepWeights(std::shared_ptr<const RefinedField> averaged, const Needle& needle) : averaged_(std::move(averaged)), needle_(needle) {
  constexpr double kBlock_mm = 1;
  Volume<float> least;
  for (double step = kWidestStep_mm; spacing_of(step, needle) == Spacing::coarse; step /= 2) {
    if (least.values.empty()) least = averaged_->least_in_blocks(kBlock_mm);
    // Of the points of an axis in one layer whose middle lies in a cell, none lies farther from the cell's middle.
    const double half_layer = layer_mm(step, needle) / 2, aside = step / 2 + kWidestSlope * half_layer;
    least_.emplace_back(least, std::hypot(aside, aside, half_layer), std::max(1, static_cast<int>(step / 2 / kBlock_mm)));
  }
}

void SweepWeights::at_row(double step_mm, const Vec3& from, const Vec3& apart, std::span<float> out) const {
  if (spacing_of(step_mm, needle_) != Spacing::coarse) return averaged_->at_row(from, apart, out);
  std::size_t n = 0;   // the finest that is wide enough
  for (double step = kWidestStep_mm / 2; n + 1 < least_.size() && step > 0.999 * step_mm; step /= 2) ++n;
  least_[n].at_row(from, apart, out);
}

const SweepGround& SweepGrounds::of(std::size_t ask) {
  if (!of_ask_[ask]) {
    const Ask& asked = scene_.asks()[ask];
    const SweepWeights& weights = weights_.try_emplace(asked.cost.get(), asked.cost, *asked.needle).first->second;
    of_ask_[ask] = std::make_unique<SweepGround>(scene_, ask, patches_, weights);
  }
  return *of_ask_[ask];
}

SweepGround::SweepGround(const SearchScene& scene, std::size_t ask, const EntryPatches& patches, const SweepWeights& weights)
    : scene_(scene), ask_(scene.asks()[ask]), voxels_(scene.box_grid()), patches_(patches), weights_(weights) {
  weight_of_wanted_ = 1e9;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (ask_.request->wants(static_cast<Material>(m))) weight_of_wanted_ = std::min(weight_of_wanted_, scene.file().weights.material[m]);
  make_blocks();
  make_openings();
  make_extremes();
}

void SweepGround::make_blocks() {
  const Grid& grid = voxels_.grid;
  const std::vector<float>& weights = scene_.weights().values;
  for (std::size_t a = 0; a < 3; ++a)
    blocks_.size[a] = static_cast<int>((grid.size[a] * grid.spacing_mm[static_cast<Eigen::Index>(a)]) / kBlock_mm) + 1;
  solid_.assign(blocks_.voxel_count(), 0);
  wanted_ = solid_;
  const Mark* cavity = cavity_of(scene_.body(), *ask_.request);
  const Box& box = scene_.box();
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if (weights[grid.offset(i, j, k)] > 0) {
          const std::size_t block = blocks_.offset(block_at(Vec3(i, j, k).cwiseProduct(grid.spacing_mm)));
          solid_[block] = 1;
          if (is_wanted(scene_.body(), *ask_.request, cavity, {i + box.low.i, j + box.low.j, k + box.low.k})) wanted_[block] = 1;
        }
  const double reach = ask_.needle->outer_mm / 2 + 2 * grid.spacing_mm.maxCoeff() + kBlock_mm / 2;
  const int blocks = static_cast<int>(std::ceil(reach / kBlock_mm));
  filter(blocks_, solid_, {blocks, blocks, blocks}, most);
  // A core reaches back from its tip over the throw, and errs.
  const int back = static_cast<int>(std::ceil((ask_.needle->throw_mm + 3 * scene_.file().placement.placement_mm) / kBlock_mm));
  filter(blocks_, wanted_, {back, back, back}, most);
}

void SweepGround::make_openings() {
  const Box& box = scene_.box();
  const Grid& grid = voxels_.grid;
  for (const Mark& mark : scene_.body().marks) {
    if (mark.kind != MarkKind::opening) continue;
    opening_.resize(grid.voxel_count());
    for (int k = 0; k < grid.size[2]; ++k)
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i)
          if (mark.mask.contains({i + box.low.i, j + box.low.j, k + box.low.k})) opening_[grid.offset(i, j, k)] = 1;
  }
  if (opening_.empty()) return;
  filter(grid, opening_, {1, 1, 1}, most);
  opening_low_ = Vec3::Constant(1e9);
  opening_high_ = Vec3::Constant(-1e9);
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        if (opening_[grid.offset(i, j, k)] == 0) continue;
        opening_low_ = opening_low_.cwiseMin(Vec3(i - 1, j - 1, k - 1).cwiseProduct(grid.spacing_mm));
        opening_high_ = opening_high_.cwiseMax(Vec3(i + 1, j + 1, k + 1).cwiseProduct(grid.spacing_mm));
      }
}

void SweepGround::make_extremes() {
  const Grid& grid = voxels_.grid;
  const auto reach = [&](double mm) {
    std::array<int, 3> voxels;
    for (std::size_t a = 0; a < 3; ++a) voxels[a] = static_cast<int>(std::ceil(mm / grid.spacing_mm[static_cast<Eigen::Index>(a)]));
    return voxels;
  };
  least_weight_ = most_weight_ = scene_.weights().values;
  filter(grid, least_weight_, reach(0.75 * ask_.needle->outer_mm), [](float a, float b) { return std::min(a, b); });
  filter(grid, most_weight_, reach(0.75 * ask_.needle->outer_mm), [](float a, float b) { return std::max(a, b); });
}

bool SweepGround::is_solid(const Vec3& p) const {
  const VoxelIndex b = block_at(p);
  return blocks_.contains(b) && solid_[blocks_.offset(b)] != 0;
}

bool SweepGround::may_hold_wanted(const TipBox& box) const {
  const VoxelIndex low = block_at(box.low), high = block_at(box.low + box.size_mm());
  for (int k = low.k; k <= high.k; ++k)
    for (int j = low.j; j <= high.j; ++j)
      for (int i = low.i; i <= high.i; ++i)
        if (blocks_.contains({i, j, k}) && wanted_[blocks_.offset(i, j, k)] != 0) return true;
  return false;
}

bool SweepGround::in_opening(const Vec3& p) const {
  const VoxelIndex v = voxels_.voxel(p);
  return voxels_.grid.contains(v) && opening_[voxels_.grid.offset(v)] != 0;
}

}  // namespace leastharm
