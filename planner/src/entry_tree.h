#pragma once

#include <cstdint>
#include <vector>

#include "search_scene.h"

namespace leastharm {

/// A rectangle through which an axis can enter the object: a voxel's face between the object and the air around it.
struct EntryFace {
  Vec3 middle{0, 0, 0}, half{0, 0, 0};   ///< in the scene's frame; `half` is 0 along the face's own axis
  Vec3 outward{0, 0, 1};                 ///< the smoothed surface's normal
  double turn_rad = 0;                   ///< how much the normal may turn over the face
  int axis = 0, sign = 1;                ///< the face looks along sign * axis
};

/// Faces in boxes within boxes. Node 0 is the root; a node's children are neighbours in `nodes`.
struct EntryTree {
  struct Node {
    Vec3 middle{0, 0, 0}, half{0, 0, 0};   ///< box around all its faces
    Vec3 outward{0, 0, 1};                 ///< middle of the cone that holds all its normals
    double cone_rad = 0;
    std::int32_t child = -1;               ///< the first of two children; -1: a single face
    std::uint32_t begin = 0, end = 0;      ///< faces
  };
  std::vector<EntryFace> faces;
  std::vector<Node> nodes;
};

/// Every place where an axis can enter within the scene's box.
[[nodiscard]] EntryTree entry_tree(const SearchScene& scene);

}  // namespace leastharm
