#include "entry_cones.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace leastharm {
namespace {

constexpr double kRounding = 1e-6;   // of cosines in single precision, all to the safe side

}  // namespace

EntryCones::EntryCones(const SearchScene& scene, double reach_mm, bool one_by_one)
    : grid_(scene.box_grid()), cone_of_(grid_.voxel_count(), -1) {
  const Box& box = scene.box();
  std::array<int, 3> reach{0, 0, 0};
  for (std::size_t a = 0; a < 3; ++a) reach[a] = static_cast<int>(std::ceil(reach_mm / grid_.spacing_mm[static_cast<Eigen::Index>(a)]));
  const auto for_each_near = [&](const EntryVoxel& e, const auto& visit) {
    const VoxelIndex v{e.voxel.i - box.low.i, e.voxel.j - box.low.j, e.voxel.k - box.low.k};
    for (int k = std::max(0, v.k - reach[2]); k <= std::min(grid_.size[2] - 1, v.k + reach[2]); ++k)
      for (int j = std::max(0, v.j - reach[1]); j <= std::min(grid_.size[1] - 1, v.j + reach[1]); ++j)
        for (int i = std::max(0, v.i - reach[0]); i <= std::min(grid_.size[0] - 1, v.i + reach[0]); ++i) visit(grid_.offset(i, j, k));
  };
  for (const EntryVoxel& e : scene.entries()) for_each_near(e, [&](std::size_t n) { cone_of_[n] = 0; });
  number_in_bricks();
  for (const EntryVoxel& e : scene.entries())
    for_each_near(e, [&](std::size_t n) { cones_[static_cast<std::size_t>(cone_of_[n])].axis += e.outward.cast<float>(); });
  for (Cone& cone : cones_) {
    const float length = cone.axis.norm();
    if (length < 1e-3f) cone = {Eigen::Vector3f::UnitX(), -1, 0};
    else cone.axis /= length;
  }
  if (one_by_one) first_.assign(cones_.size() + 1, 0);
  for (const EntryVoxel& e : scene.entries())
    for_each_near(e, [&](std::size_t n) {
      Cone& cone = cones_[static_cast<std::size_t>(cone_of_[n])];
      cone.cosine = std::min(cone.cosine, cone.axis.dot(e.outward.cast<float>()));
      if (one_by_one) ++first_[static_cast<std::size_t>(cone_of_[n]) + 1];
    });
  for (Cone& cone : cones_) {
    cone.cosine = std::max(-1.0f, cone.cosine - static_cast<float>(kRounding));
    cone.sine = std::sqrt(std::max(0.0f, 1 - cone.cosine * cone.cosine));
  }
  if (!one_by_one) return;
  std::partial_sum(first_.begin(), first_.end(), first_.begin());
  near_.resize(first_.back());
  std::vector<std::uint32_t> next(first_.begin(), first_.end() - 1);
  for (const EntryVoxel& e : scene.entries()) {
    for_each_near(e, [&](std::size_t n) { near_[next[static_cast<std::size_t>(cone_of_[n])]++] = static_cast<std::uint32_t>(outward_.size()); });
    outward_.push_back(e.outward.cast<float>());
  }
}

/// Voxels that lie together have their cones together, whatever the direction in which they are asked for.
void EntryCones::number_in_bricks() {
  constexpr int kEdge = 4;
  std::int32_t number = 0;
  const auto end = [&](std::size_t axis, int from) { return std::min(grid_.size[axis], from + kEdge); };
  for (int bk = 0; bk < grid_.size[2]; bk += kEdge)
    for (int bj = 0; bj < grid_.size[1]; bj += kEdge)
      for (int bi = 0; bi < grid_.size[0]; bi += kEdge)
        for (int k = bk; k < end(2, bk); ++k)
          for (int j = bj; j < end(1, bj); ++j)
            for (int i = bi; i < end(0, bi); ++i)
              if (std::int32_t& cone = cone_of_[grid_.offset(i, j, k)]; cone >= 0) cone = number++;
  cones_.resize(static_cast<std::size_t>(number));
}

/// Between a direction and the inward normals near a cone's voxel, the largest.
double EntryCones::best_of_entries(std::size_t cone, const Vec3& direction) const {
  const Eigen::Vector3f inward = -direction.cast<float>();
  float best = -1;
  for (std::uint32_t n = first_[cone]; n < first_[cone + 1]; ++n) best = std::max(best, inward.dot(outward_[near_[n]]));
  return best + kRounding;
}

double EntryCones::best_cosine(VoxelIndex v, const Vec3& direction) const {
  const std::int32_t n = cone_of_[grid_.offset(v)];
  if (n < 0) return kNothingEnters;
  const Cone& cone = cones_[static_cast<std::size_t>(n)];
  const double best = cosine_less(-direction.dot(cone.axis.cast<double>()) + kRounding, cone.cosine, cone.sine);
  return first_.empty() || best <= 0 ? best : best_of_entries(static_cast<std::size_t>(n), direction);
}

}  // namespace leastharm
