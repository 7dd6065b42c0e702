#include "imaging/mask.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <string>

#include "imaging/error.h"

namespace leastharm {
namespace {

/// The smallest box round some voxels, grown voxel by voxel.
struct Box {
  VoxelIndex low{1 << 30, 1 << 30, 1 << 30}, high{-1, -1, -1};
  void take(int i, int j, int k) {
    low = {std::min(low.i, i), std::min(low.j, j), std::min(low.k, k)};
    high = {std::max(high.i, i), std::max(high.j, j), std::max(high.k, k)};
  }
};

Mask empty_mask(const Grid& grid, const Box& box) {
  Mask mask{.grid = grid};
  if (box.high.i < 0) return mask;
  mask.corner = box.low;
  mask.box = {box.high.i - box.low.i + 1, box.high.j - box.low.j + 1, box.high.k - box.low.k + 1};
  mask.inside.assign(static_cast<std::size_t>(mask.box[0]) * mask.box[1] * mask.box[2], 0);
  return mask;
}

std::size_t box_offset(const Mask& mask, int i, int j, int k) {
  return static_cast<std::size_t>(i - mask.corner.i) +
         static_cast<std::size_t>(mask.box[0]) *
             (static_cast<std::size_t>(j - mask.corner.j) +
              static_cast<std::size_t>(mask.box[1]) * static_cast<std::size_t>(k - mask.corner.k));
}

/// The voxels of the grid for which `holds(i, j, k)` is true, looked for between two corners: once for the box that
/// holds them, once to fill it.
template <typename Predicate>
Mask mask_where(const Grid& grid, VoxelIndex low, VoxelIndex high, Predicate holds) {
  low = {std::max(low.i, 0), std::max(low.j, 0), std::max(low.k, 0)};
  high = {std::min(high.i, grid.size[0] - 1), std::min(high.j, grid.size[1] - 1),
          std::min(high.k, grid.size[2] - 1)};
  const auto for_each = [&](const auto& act) {
    for (int k = low.k; k <= high.k; ++k)
      for (int j = low.j; j <= high.j; ++j)
        for (int i = low.i; i <= high.i; ++i)
          if (holds(i, j, k)) act(i, j, k);
  };
  Box box;
  for_each([&](int i, int j, int k) { box.take(i, j, k); });
  Mask mask = empty_mask(grid, box);
  for_each([&](int i, int j, int k) { mask.inside[box_offset(mask, i, j, k)] = 1; });
  return mask;
}

VoxelIndex last_voxel(const Grid& grid) {
  return {grid.size[0] - 1, grid.size[1] - 1, grid.size[2] - 1};
}

std::string in_mm(const Vec3& p) {
  const auto text = [](double v) {
    std::string s = std::to_string(v);
    return s.substr(0, s.find('.') + 2);
  };
  return text(p.x()) + "," + text(p.y()) + "," + text(p.z()) + " mm";
}

/// Grows from one voxel over its 26 neighbours of the same value; marks what it took in `taken`.
/// Stops early once more than `limit` voxels were found.
std::vector<VoxelIndex> grow(const Volume<std::uint8_t>& labels, VoxelIndex seed, std::size_t limit,
                             std::vector<bool>& taken) {
  const Grid& grid = labels.grid;
  const std::uint8_t value = labels.at(seed);
  std::vector<VoxelIndex> found{seed};
  taken[grid.offset(seed)] = true;
  for (std::size_t next = 0; next < found.size() && found.size() <= limit; ++next) {
    const VoxelIndex v = found[next];
    for (int dk = -1; dk <= 1; ++dk)
      for (int dj = -1; dj <= 1; ++dj)
        for (int di = -1; di <= 1; ++di) {
          const VoxelIndex n{v.i + di, v.j + dj, v.k + dk};
          if (!grid.contains(n) || taken[grid.offset(n)] || labels.at(n) != value) continue;
          taken[grid.offset(n)] = true;
          found.push_back(n);
        }
  }
  return found;
}

Mask mask_of(const Grid& grid, const std::vector<VoxelIndex>& voxels) {
  Box box;
  for (const VoxelIndex v : voxels) box.take(v.i, v.j, v.k);
  Mask mask = empty_mask(grid, box);
  for (const VoxelIndex v : voxels) mask.inside[box_offset(mask, v.i, v.j, v.k)] = 1;
  return mask;
}

}  // namespace

std::size_t Mask::voxel_count() const {
  return static_cast<std::size_t>(std::ranges::count_if(inside, [](auto v) { return v != 0; }));
}

Mask mask_from_labels(const Volume<std::uint8_t>& labels, const Grid& grid) {
  if (!same_grid(labels.grid, grid))
    throw BadInput("the mask lies on another grid than the CT: resample it onto the CT's grid (" +
                   std::to_string(grid.size[0]) + " x " + std::to_string(grid.size[1]) + " x " +
                   std::to_string(grid.size[2]) + " voxels)");
  return mask_where(grid, {0, 0, 0}, last_voxel(grid),
                    [&](int i, int j, int k) { return labels.values[grid.offset(i, j, k)] != 0; });
}

Volume<std::uint8_t> labels_from_mask(const Mask& mask) {
  Volume<std::uint8_t> labels{mask.grid, std::vector<std::uint8_t>(mask.grid.voxel_count(), 0)};
  for (int k = mask.corner.k; k < mask.corner.k + mask.box[2]; ++k)
    for (int j = mask.corner.j; j < mask.corner.j + mask.box[1]; ++j)
      for (int i = mask.corner.i; i < mask.corner.i + mask.box[0]; ++i)
        labels.values[mask.grid.offset(i, j, k)] = mask.inside[box_offset(mask, i, j, k)];
  return labels;
}

Volume<std::uint8_t> box_from_mask(const Mask& mask) {
  Grid grid = mask.grid;
  grid.size = mask.box;
  grid.origin_lps_mm = mask.grid.lps_from_index(
      {double(mask.corner.i), double(mask.corner.j), double(mask.corner.k)});
  return {grid, mask.inside};
}

Mask mask_from_box(const Volume<std::uint8_t>& box, const Grid& grid) {
  const VoxelIndex corner = grid.voxel_at(box.grid.origin_lps_mm);
  Mask mask{.grid = grid, .corner = corner, .box = box.grid.size, .inside = box.values};
  if (!same_grid(box_from_mask(mask).grid, box.grid))
    throw BadInput("a mark's voxels do not fall on the CT's grid: set the mark again");
  return mask;
}

Mask ball_mask(const Grid& grid, const Vec3& centre_lps_mm, double radius_mm) {
  if (!(radius_mm > 0) || !std::isfinite(radius_mm) || !centre_lps_mm.allFinite())
    throw BadInput("a ball needs a finite centre and a radius above 0 mm");
  const Vec3 centre = grid.index_from_lps(centre_lps_mm);
  const Vec3 reach = Vec3::Constant(radius_mm).cwiseQuotient(grid.spacing_mm);
  // Beyond a million voxels from the grid nothing can be inside, and the indices would overflow.
  if (centre.cwiseAbs().maxCoeff() > 1e6) throw BadInput("the ball's centre lies far outside the CT");
  const Vec3 low = (centre - reach).cwiseMax(-1e6), high = (centre + reach).cwiseMin(1e6);
  Mask mask = mask_where(
      grid, {int(std::floor(low.x())), int(std::floor(low.y())), int(std::floor(low.z()))},
      {int(std::ceil(high.x())), int(std::ceil(high.y())), int(std::ceil(high.z()))},
      [&](int i, int j, int k) {
        return (Vec3(i, j, k) - centre).cwiseProduct(grid.spacing_mm).squaredNorm() <=
               radius_mm * radius_mm;
      });
  if (mask.empty())
    throw BadInput("the ball round " + in_mm(centre_lps_mm) +
                   " holds no voxel of the CT: check the point (LPS) or enlarge the radius");
  return mask;
}

Mask connected_mask(const Volume<std::uint8_t>& materials, const Vec3& seed_lps_mm, double limit_mm3) {
  if (!seed_lps_mm.allFinite()) throw BadInput("the seed must be three finite numbers, LPS in mm");
  const VoxelIndex seed = materials.grid.voxel_at(seed_lps_mm);
  if (!materials.grid.contains(seed))
    throw BadInput("the seed " + in_mm(seed_lps_mm) + " lies outside the CT: points are LPS in mm");
  if (materials.at(seed) == static_cast<std::uint8_t>(Material::air))
    throw BadInput("the seed " + in_mm(seed_lps_mm) +
                   " lies in air: choose a point inside the material, or use a ball");
  std::vector<bool> taken(materials.grid.voxel_count(), false);
  const double voxel_mm3 = materials.grid.voxel_volume_mm3();
  const auto limit = static_cast<std::size_t>(limit_mm3 / voxel_mm3);
  const auto found = grow(materials, seed, limit, taken);
  if (found.size() > limit)
    throw BadInput("the " + std::string(name_of(static_cast<Material>(materials.at(seed)))) +
                   " connected with " + in_mm(seed_lps_mm) + " exceeds " +
                   std::to_string(static_cast<long>(limit_mm3)) +
                   " mm3: mark it by a ball, by outlines or by a mask file");
  return mask_of(materials.grid, found);
}

Mask material_mask(const Volume<std::uint8_t>& materials, Material material) {
  Mask mask = mask_where(materials.grid, {0, 0, 0}, last_voxel(materials.grid), [&](int i, int j, int k) {
    return materials.values[materials.grid.offset(i, j, k)] == static_cast<std::uint8_t>(material);
  });
  if (mask.empty())
    throw BadInput("the material map holds no " + std::string(name_of(material)));
  return mask;
}

std::vector<Mask> material_pieces(const Volume<std::uint8_t>& materials, Material material,
                                  double least_mm3) {
  const Grid& grid = materials.grid;
  std::vector<bool> taken(grid.voxel_count(), false);
  std::vector<std::vector<VoxelIndex>> pieces;
  const auto least = least_mm3 / grid.voxel_volume_mm3();
  const std::uint8_t* first = materials.values.data();
  const std::uint8_t* end = first + materials.values.size();
  for (const std::uint8_t* at = first; at != end; ++at) {
    at = static_cast<const std::uint8_t*>(
        std::memchr(at, static_cast<int>(material), static_cast<std::size_t>(end - at)));
    if (!at) break;
    const auto offset = static_cast<std::size_t>(at - first);
    if (taken[offset]) continue;
    auto piece = grow(materials, grid.index(offset), grid.voxel_count(), taken);
    if (static_cast<double>(piece.size()) > least) pieces.push_back(std::move(piece));
  }
  std::ranges::stable_sort(pieces, std::greater{}, &std::vector<VoxelIndex>::size);
  std::vector<Mask> masks;
  for (const auto& piece : pieces) masks.push_back(mask_of(grid, piece));
  return masks;
}

}  // namespace leastharm
