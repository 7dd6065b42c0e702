#include "surface_normals.h"

#include <algorithm>
#include <cmath>

#include "planner/crossing.h"

namespace leastharm {
namespace {

constexpr double kSmoothing_mm = 2.5;   // as outward_normal has it

int floor_half(int twice) { return twice >= 0 ? twice / 2 : -((1 - twice) / 2); }

}  // namespace

SurfaceNormals::SurfaceNormals(const Body& body) : body_(&body) {
  const Vec3 spacing = body.grid.spacing_mm;
  const double sigma = std::max(kSmoothing_mm, spacing.maxCoeff());
  for (int half = 0; half < 8; ++half) {
    HalfStencil& stencil = stencils_[static_cast<std::size_t>(half)];
    const Vec3 centre(half & 1 ? 0.5 : 0, half & 2 ? 0.5 : 0, half & 4 ? 0.5 : 0);
    const Vec3 reach = Vec3::Constant(3 * sigma).cwiseQuotient(spacing);
    const auto low = [&](int a) { return static_cast<int>(std::ceil(centre[a] - reach[a])); };
    const auto high = [&](int a) { return static_cast<int>(std::floor(centre[a] + reach[a])); };
    for (int k = low(2); k <= high(2); ++k)
      for (int j = low(1); j <= high(1); ++j) {
        Row row{j, k, 0, 0, stencil.x.size()};
        for (int i = low(0); i <= high(0); ++i) {
          const Vec3 r = (Vec3(i, j, k) - centre).cwiseProduct(spacing);
          const double square = r.squaredNorm() / (sigma * sigma);
          if (square >= 9) continue;
          if (row.end == row.begin) row.begin = i;
          row.end = i + 1;
          const double weight = std::exp(-square / 2);
          stencil.x.push_back(static_cast<float>(weight * r.x()));
          stencil.y.push_back(static_cast<float>(weight * r.y()));
          stencil.z.push_back(static_cast<float>(weight * r.z()));
        }
        if (row.end > row.begin) stencil.rows.push_back(row);
      }
  }
}

/// The outermost voxels go on beyond the grid.
float SurfaceNormals::occupied(int i, int j, int k) const {
  const auto& size = body_->grid.size;
  const VoxelIndex v{std::clamp(i, 0, size[0] - 1), std::clamp(j, 0, size[1] - 1), std::clamp(k, 0, size[2] - 1)};
  return is_object(static_cast<Material>(body_->materials[body_->grid.offset(v)])) ? 1.0f : 0.0f;
}

Vec3 SurfaceNormals::at_half(int i2, int j2, int k2) const {
  const auto& size = body_->grid.size;
  const HalfStencil& stencil = stencils_[static_cast<std::size_t>((i2 & 1) | (j2 & 1) << 1 | (k2 & 1) << 2)];
  const int i = floor_half(i2), j = floor_half(j2), k = floor_half(k2);
  float x = 0, y = 0, z = 0;
  for (const Row& row : stencil.rows) {
    const float *wx = stencil.x.data() + row.first, *wy = stencil.y.data() + row.first, *wz = stencil.z.data() + row.first;
    const int sj = std::clamp(j + row.j, 0, size[1] - 1), sk = std::clamp(k + row.k, 0, size[2] - 1), n = row.end - row.begin;
    if (i + row.begin >= 0 && i + row.end <= size[0]) {
      const std::uint8_t* m = body_->materials.data() + body_->grid.offset(i + row.begin, sj, sk);
      for (int t = 0; t < n; ++t) {
        const float o = m[t] != 0 && m[t] != static_cast<std::uint8_t>(Material::support) ? 1.0f : 0.0f;
        x += o * wx[t], y += o * wy[t], z += o * wz[t];
      }
    } else {
      for (int t = 0; t < n; ++t) {
        const float o = occupied(i + row.begin + t, sj, sk);
        x += o * wx[t], y += o * wy[t], z += o * wz[t];
      }
    }
  }
  const Vec3 inward(static_cast<double>(x), static_cast<double>(y), static_cast<double>(z));
  return inward.norm() < 1e-6 ? Vec3(Vec3::Zero()) : Vec3(-inward.normalized());
}

}  // namespace leastharm
