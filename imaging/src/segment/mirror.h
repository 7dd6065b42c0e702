#pragma once

#include <vector>

#include "bone_blocks.h"

namespace leastharm::segment_detail {

/// A plane by its unit normal and a point.
struct Mirror {
  Vec3 normal{1, 0, 0};
  Vec3 point{0, 0, 0};
  double score = -1;
};

/// The plane near the body's own axes that lays most of its bone onto bone.
[[nodiscard]] Mirror find_mirror(const Blocks& blocks, const std::vector<Weighted>& bone, const Axes& axes, const Vec3& head,
                                 int threads);

}  // namespace leastharm::segment_detail
