#include "entry_tree.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "workers.h"

namespace leastharm {
namespace {

constexpr double kTurnSlack = 0.03;   // radians on top of how far the normals beside a face differ

double angle_between(const Vec3& a, const Vec3& b) { return std::acos(std::clamp(a.dot(b), -1.0, 1.0)); }

std::vector<EntryFace> faces_of(const SearchScene& scene) {
  std::vector<EntryFace> faces;
  const Vec3 spacing = scene.frame().grid.spacing_mm;
  for (const EntryVoxel& entry : scene.entries())
    for (int axis = 0; axis < 3; ++axis)
      for (int sign = -1; sign <= 1; sign += 2) {
        VoxelIndex beside = entry.voxel;
        (axis == 0 ? beside.i : axis == 1 ? beside.j : beside.k) += sign;
        if (!scene.is_outside(beside)) continue;
        EntryFace face;
        face.axis = axis;
        face.sign = sign;
        face.half = spacing / 2;
        face.half[axis] = 0;
        face.middle = entry.point;
        face.middle[axis] += sign * spacing[axis] / 2;
        faces.push_back(face);
      }
  return faces;
}

/// Normals at each face's middle, and how far those at its corners turn from it.
void set_normals(const SearchScene& scene, std::vector<EntryFace>& faces) {
  const SurfaceNormals& normals = scene.normals();
  const Vec3 spacing = scene.frame().grid.spacing_mm;
  for_each_chunk(faces.size(), 256, [&](std::size_t begin, std::size_t end) {
    for (std::size_t f = begin; f < end; ++f) {
      EntryFace& face = faces[f];
      std::array<int, 3> middle;
      for (int a = 0; a < 3; ++a) middle[static_cast<std::size_t>(a)] = static_cast<int>(std::lround(2 * face.middle[a] / spacing[a]));
      face.outward = normals.at_half(middle[0], middle[1], middle[2]);
      if (face.outward.isZero()) {   // no direction at all: any angle may be measured
        face.outward[face.axis] = face.sign;
        face.turn_rad = 4;
        continue;
      }
      const auto a = static_cast<std::size_t>((face.axis + 1) % 3), b = static_cast<std::size_t>((face.axis + 2) % 3);
      for (int corner = 0; corner < 4; ++corner) {
        std::array<int, 3> at = middle;
        at[a] += corner & 1 ? 1 : -1;
        at[b] += corner & 2 ? 1 : -1;
        const Vec3 n = normals.at_half(at[0], at[1], at[2]);
        face.turn_rad = std::max(face.turn_rad, n.isZero() ? 4 : angle_between(face.outward, n) + kTurnSlack);
      }
    }
  });
}

class Builder {
 public:
  explicit Builder(EntryTree& tree) : tree_(tree) {}

  void build() {
    if (tree_.faces.empty()) return;
    tree_.nodes.reserve(2 * tree_.faces.size());
    tree_.nodes.push_back({});
    fill(0, 0, static_cast<std::uint32_t>(tree_.faces.size()));
  }

 private:
  void fill(std::size_t at, std::uint32_t begin, std::uint32_t end) {
    EntryTree::Node node;
    node.begin = begin;
    node.end = end;
    Vec3 low = Vec3::Constant(1e30), high = -low, sum = Vec3::Zero();
    for (std::uint32_t f = begin; f < end; ++f) {
      const EntryFace& face = tree_.faces[f];
      low = low.cwiseMin(face.middle - face.half);
      high = high.cwiseMax(face.middle + face.half);
      sum += face.outward;
    }
    node.middle = (low + high) / 2;
    node.half = (high - low) / 2;
    node.outward = sum.norm() > 1e-9 ? Vec3(sum.normalized()) : Vec3(Vec3::UnitZ());
    for (std::uint32_t f = begin; f < end; ++f)
      node.cone_rad = std::max(node.cone_rad, angle_between(node.outward, tree_.faces[f].outward) + tree_.faces[f].turn_rad);
    if (end - begin > 1) {
      const std::uint32_t middle = split(node, begin, end);
      node.child = static_cast<std::int32_t>(tree_.nodes.size());
      tree_.nodes.resize(tree_.nodes.size() + 2);
      const auto child = static_cast<std::size_t>(node.child);
      tree_.nodes[at] = node;
      fill(child, begin, middle);
      fill(child + 1, middle, end);
    }
    tree_.nodes[at] = node;
  }

  /// Halves the box along its longest side; faces of different outlook are parted where they share one place.
  std::uint32_t split(const EntryTree::Node& node, std::uint32_t begin, std::uint32_t end) {
    const auto first = tree_.faces.begin() + begin, last = tree_.faces.begin() + end;
    Eigen::Index axis = 0;
    node.half.maxCoeff(&axis);
    auto middle = std::stable_partition(first, last, [&](const EntryFace& f) { return f.middle[axis] < node.middle[axis]; });
    if (middle == first || middle == last) {
      std::stable_sort(first, last, [](const EntryFace& p, const EntryFace& q) { return 2 * p.axis + p.sign < 2 * q.axis + q.sign; });
      middle = first + (end - begin) / 2;
    }
    return static_cast<std::uint32_t>(middle - tree_.faces.begin());
  }

  EntryTree& tree_;
};

}  // namespace

EntryTree entry_tree(const SearchScene& scene) {
  EntryTree tree;
  tree.faces = faces_of(scene);
  set_normals(scene, tree.faces);
  Builder(tree).build();
  return tree;
}

}  // namespace leastharm
