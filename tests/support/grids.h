#pragma once

#include <Eigen/Geometry>

#include "imaging/grid.h"

namespace leastharm::test {

/// A grid that no lucky identity hides behind: shifted origin, oblique direction.
inline Grid oblique_grid(std::array<int, 3> size, const Vec3& spacing_mm) {
  Grid grid;
  grid.size = size;
  grid.spacing_mm = spacing_mm;
  grid.origin_lps_mm = {-40.5, 12.25, 300.75};
  grid.direction = (Eigen::AngleAxisd(0.3, Vec3::UnitZ()) * Eigen::AngleAxisd(-0.2, Vec3::UnitX())).toRotationMatrix();
  return grid;
}

}  // namespace leastharm::test
