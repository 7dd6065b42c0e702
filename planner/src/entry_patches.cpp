#include "entry_patches.h"

#include <array>
#include <numeric>

#include "workers.h"

namespace leastharm {
namespace {

/// A point of the half-voxel lattice: twice its index.
using HalfPoint = std::array<int, 3>;

/// A face of an entry voxel that looks at the air outside.
struct Face {
  HalfPoint middle{};
  std::size_t axis = 0;   // square to it
};

std::vector<Face> faces_of(const SearchScene& scene) {
  std::vector<Face> faces;
  for (const EntryVoxel& e : scene.entries())
    for (std::size_t axis = 0; axis < 3; ++axis)
      for (const int side : {-1, 1}) {
        HalfPoint beside{e.voxel.i, e.voxel.j, e.voxel.k}, middle{2 * e.voxel.i, 2 * e.voxel.j, 2 * e.voxel.k};
        beside[axis] += side;
        middle[axis] += side;
        if (scene.is_outside({beside[0], beside[1], beside[2]})) faces.push_back({middle, axis});
      }
  return faces;
}

HalfPoint corner_of(const Face& face, int a, int b) {
  HalfPoint p = face.middle;
  p[(face.axis + 1) % 3] += a;
  p[(face.axis + 2) % 3] += b;
  return p;
}

/// Inward normals at the faces' middles and corners, each worked out once.
class InwardNormals {
 public:
  InwardNormals(const SearchScene& scene, const std::vector<Face>& faces) {
    for (const Face& face : faces) {
      points_.push_back(face.middle);
      for (const int a : {-1, 1})
        for (const int b : {-1, 1}) points_.push_back(corner_of(face, a, b));
    }
    std::ranges::sort(points_);
    points_.erase(std::unique(points_.begin(), points_.end()), points_.end());
    normals_.resize(points_.size());
    for_each_chunk(points_.size(), 256, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n)
        normals_[n] = -scene.normals().at_half(points_[n][0], points_[n][1], points_[n][2]).cast<float>();
    });
  }
  [[nodiscard]] const Eigen::Vector3f& at(const HalfPoint& p) const {
    return normals_[static_cast<std::size_t>(std::ranges::lower_bound(points_, p) - points_.begin())];
  }

 private:
  std::vector<HalfPoint> points_;
  std::vector<Eigen::Vector3f> normals_;
};

/// The cone about the mean of four normals that holds them; all directions where one of them has none.
void set_cone(EntryPatch& patch, const std::array<Eigen::Vector3f, 4>& normals) {
  constexpr float kRounding = 1e-6f;   // of cosines in single precision, to the safe side
  Eigen::Vector3f sum = Eigen::Vector3f::Zero();
  for (const Eigen::Vector3f& n : normals) sum += n;
  const bool any_way = sum.norm() < 1e-3f || std::ranges::any_of(normals, [](const Eigen::Vector3f& n) { return n.isZero(); });
  patch.cosine = -1;
  if (any_way) return;
  patch.inward = sum.normalized();
  patch.cosine = 1;
  for (const Eigen::Vector3f& n : normals) patch.cosine = std::min(patch.cosine, n.normalized().dot(patch.inward));
  patch.cosine = std::max(-1.0f, patch.cosine - kRounding);
  patch.sine = std::sqrt(std::max(0.0f, 1 - patch.cosine * patch.cosine));
}

}  // namespace

EntryPatches::EntryPatches(const SearchScene& scene) {
  const Vec3 voxel = scene.box_grid().spacing_mm;
  widest_mm_ = voxel.norm() / 4;
  for (std::size_t a = 0; a < 3; ++a)
    bricks_.size[a] = static_cast<int>(scene.box_grid().size[a] * voxel[static_cast<Eigen::Index>(a)] / kBrick_mm) + 3;
  const std::vector<Face> faces = faces_of(scene);
  const InwardNormals normals(scene, faces);
  patches_.resize(4 * faces.size());
  for_each_chunk(faces.size(), 1024, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const Face& face = faces[n];
      const auto u = static_cast<Eigen::Index>((face.axis + 1) % 3), v = static_cast<Eigen::Index>((face.axis + 2) % 3);
      const Vec3 middle = scene.in_box(0.5 * Vec3(face.middle[0], face.middle[1], face.middle[2]).cwiseProduct(voxel));
      const Eigen::Vector3f& centre = normals.at(face.middle);
      for (std::size_t q = 0; q < 4; ++q) {
        const int a = q % 2 == 0 ? -1 : 1, b = q < 2 ? -1 : 1;
        EntryPatch& patch = patches_[4 * n + q];
        Vec3 at = middle, half = Vec3::Zero();
        at[u] += 0.25 * a * voxel[u], at[v] += 0.25 * b * voxel[v];
        half[u] = 0.25 * voxel[u], half[v] = 0.25 * voxel[v];
        patch.middle = at.cast<float>();
        patch.half = half.cast<float>();
        // Half-way along an edge the normal lies between those of its ends.
        const Eigen::Vector3f &corner = normals.at(corner_of(face, a, b)), &along_u = normals.at(corner_of(face, -a, b)),
                              &along_v = normals.at(corner_of(face, a, -b));
        set_cone(patch, {centre, corner, corner + along_u, corner + along_v});
      }
    }
  });
  sort_into_bricks();
}

VoxelIndex EntryPatches::brick_at(const Vec3& p) const {
  const auto at = [&](Eigen::Index a) {
    return std::clamp(static_cast<int>(std::floor(p[a] / kBrick_mm)) + 1, 0, bricks_.size[static_cast<std::size_t>(a)] - 1);
  };
  return {at(0), at(1), at(2)};
}

void EntryPatches::sort_into_bricks() {
  const auto brick_of = [&](const EntryPatch& patch) { return bricks_.offset(brick_at(patch.middle.cast<double>())); };
  first_.assign(bricks_.voxel_count() + 1, 0);
  for (const EntryPatch& patch : patches_) ++first_[brick_of(patch) + 1];
  std::partial_sum(first_.begin(), first_.end(), first_.begin());
  std::vector<std::uint32_t> next(first_.begin(), first_.end() - 1);
  std::vector<EntryPatch> sorted(patches_.size());
  for (const EntryPatch& patch : patches_) sorted[next[brick_of(patch)]++] = patch;
  patches_ = std::move(sorted);
}

}  // namespace leastharm
