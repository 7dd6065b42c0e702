#pragma once

#include <cstdint>
#include <filesystem>

#include "imaging/grid.h"

namespace leastharm {

/// How the voxels of one grid lie among those of another: in whole steps, axis to axis.
class Placement {
 public:
  /// Throws BadInput (naming `path`) where the voxels of `from` are not voxels of `onto`.
  Placement(const Grid& from, const Grid& onto, const std::filesystem::path& path);
  [[nodiscard]] VoxelIndex at(int i, int j, int k) const {
    const Eigen::Vector3i index = first_ + steps_ * Eigen::Vector3i(i, j, k);
    return {index.x(), index.y(), index.z()};
  }

 private:
  Eigen::Vector3i first_;
  Eigen::Matrix3i steps_;
};

/// Gives `onto` the labels above 0 of `labels`, each in its place. Throws BadInput where one lies outside, or where
/// another label is there already.
void lay_onto(const Volume<std::uint8_t>& labels, const std::filesystem::path& path, Volume<std::uint8_t>& onto);

}  // namespace leastharm
