#pragma once

#include <array>
#include <string>

#include "imaging/grid.h"

namespace leastharm::test {

enum class Filling { none, columns, level, full };
enum class Ground { none, board, table, coffin };

/// All that makes a drawn body and its scan.
struct Plan {
  // The object, in mm of an adult; everything is then scaled.
  double scale = 1, low_z = -150, high_z = 760, wrapping_mm = 12, fold_mm = 0, snug_mm = 50;
  bool wrapped = true, living = false, opening = false, arms_crossed = false, resin = false, amulet = false, brain = false;
  bool lying_pools = false;    ///< resin lies level as the object lies; else at its back
  bool organs = false, skull_linen = false;
  double gap_mm = 0, gap_z = 0;   ///< broken across: nothing but air between the pieces
  Filling filling = Filling::none;
  double filling_hu = -750, filling_grain_hu = 60, linen_hu = -650, layers_hu = 60, tissue_hu = 60, tissue_broad_hu = 60,
         cortex_hu = 1100, spongy_hu = 300, resin_hu = 20, find_hu = 1800, wall_mm = 12;
  Ground ground = Ground::board;
  double wood_hu = -550, ground_mm = 18, ground_tilt = 0;
  // The scan.
  Mat3 turn = Mat3::Identity();
  Vec3 spacing_mm{2, 2, 3};
  double noise_hu = 20, margin_mm = 20, hu_offset = 0, hu_scale = 1;
  double blur = 0.1;   ///< share that a voxel takes from each neighbour in its plane; negative: a kernel that sharpens
  int corner_hu = 0;   ///< of what lies outside the field; 0: the field is the whole square
  std::array<double, 3> phase{};
};

/// Drawn from a seed. Numbers over 200 vary more widely: kernels that sharpen, more noise, other postures, parts of bodies,
/// broken bodies, full cavities, remains of organs, linen in the skull, resin near tissue's own HU, even materials.
[[nodiscard]] Plan drawn_plan(unsigned seed, double coarser);

/// In a line.
[[nodiscard]] std::string described(const Plan& plan);

}  // namespace leastharm::test
