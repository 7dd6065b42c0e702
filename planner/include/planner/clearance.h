#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "imaging/mask.h"
#include "planner/cylinder.h"

namespace leastharm {

/// A keep-out made ready for distances. Each voxel stands for the ellipsoid inscribed in it: against a flat border of
/// any direction this is right within half a voxel (boxes would reach out too far at their corners).
class KeepOut {
 public:
  KeepOut(std::string name, const Mask& mask);

  /// One voxel of the keep-out.
  struct Cell {
    float x, y, z;   ///< centre, LPS mm
    [[nodiscard]] Vec3 centre() const { return {x, y, z}; }
  };
  /// Neighbouring voxels and the ball that holds their centres.
  struct Block {
    Vec3 centre{0, 0, 0};
    double radius_mm = 0;
    std::size_t begin = 0, border_end = 0, end = 0;   ///< of `cells`: those on the border first
  };

  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::vector<Cell>& cells() const { return cells_; }
  [[nodiscard]] const std::vector<Block>& blocks() const { return blocks_; }
  [[nodiscard]] double cell_mm3() const { return mask_->grid.voxel_volume_mm3(); }
  [[nodiscard]] const Mask& mask() const { return *mask_; }
  /// Half the width of a voxel's ellipsoid along a unit direction, mm.
  [[nodiscard]] double half_width_mm(const Vec3& direction) const;
  [[nodiscard]] double largest_half_width_mm() const { return largest_half_width_mm_; }
  /// Whether any point of a line between two depths lies in the keep-out.
  [[nodiscard]] bool meets(const Vec3& start_lps_mm, const Vec3& direction, double from_mm, double to_mm) const;

 private:
  void add_block(VoxelIndex corner);
  std::string name_;
  const Mask* mask_;            ///< outlives this
  std::vector<Cell> cells_;
  std::vector<Block> blocks_;
  double largest_half_width_mm_ = 0;
};

/// Least distance from the cylinder's surface (flat ends) to the keep-out, mm, within half a voxel. Negative inside:
/// how deep the keep-out reaches into the cylinder, and where the axis itself runs in the keep-out, the radius and how
/// deep the axis lies below the keep-out's border.
[[nodiscard]] double clearance_mm(const KeepOut& keep_out, const Cylinder& cylinder);

}  // namespace leastharm
