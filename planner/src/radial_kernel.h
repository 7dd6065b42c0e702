#pragma once

#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// The weights with which the voxels around a point enter a radial average.
struct Stencil {
  struct Tap {
    int i = 0, j = 0, k = 0;
    float weight = 0;
  };
  std::vector<Tap> taps;   ///< sorted by k, j, i; weights sum to 1
};

/// The kernel k(r) = 1 / (pi^2 R^2 sqrt(R^2 - r^2)), whose projection along any direction is the uniform disc of radius
/// R (Abel's integral: the chord integral of 1/sqrt(R^2 - r^2) is pi wherever it passes the ball). A field averaged
/// with it, integrated along a line and multiplied by pi R^2, is the integral of the field over the cylinder around the
/// line. The taps hold the kernel's mass in each voxel, the kernel standing `shift_mm` from the centre of voxel (0, 0, 0).
[[nodiscard]] Stencil radial_stencil(double radius_mm, const Vec3& spacing_mm, const Vec3& shift_mm = Vec3::Zero());

/// The field averaged with a stencil; nothing outside the grid. On all cores.
[[nodiscard]] Volume<float> averaged(const Volume<float>& field, const Stencil& stencil);

}  // namespace leastharm
