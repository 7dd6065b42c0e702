#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "coarse.h"
#include "slabs.h"

namespace leastharm::segment_detail {

/// Visits the fine voxels of a slab: work(index, depth behind the face, depth before the back).
template <typename Work>
void for_slab(const Slab& slab, const Grid& grid, const Coarse& coarse, int grow_blocks, double grow_mm,
              const Work& work) {
  const auto ua = static_cast<std::size_t>(slab.u_axis()), va = static_cast<std::size_t>(slab.v_axis()),
             wa = static_cast<std::size_t>(slab.axis);
  const int columns = coarse.size[ua], rows = coarse.size[va];
  const double spacing = grid.spacing_mm[slab.axis];
  for (int cv = 0; cv < rows; ++cv)
    for (int cu = 0; cu < columns; ++cu) {
      bool near = false;
      for (int b = std::max(0, cv - grow_blocks); b <= std::min(rows - 1, cv + grow_blocks); ++b)
        for (int a = std::max(0, cu - grow_blocks); a <= std::min(columns - 1, cu + grow_blocks); ++a)
          near = near || slab.footprint[static_cast<std::size_t>(a) + static_cast<std::size_t>(columns) * static_cast<std::size_t>(b)];
      if (!near) continue;
      for (int v = cv * coarse.factor[va]; v < std::min((cv + 1) * coarse.factor[va], grid.size[va]); ++v)
        for (int u = cu * coarse.factor[ua]; u < std::min((cu + 1) * coarse.factor[ua], grid.size[ua]); ++u) {
          const double v_mm = v * grid.spacing_mm[slab.v_axis()];
          const double face = slab.face_mm[static_cast<std::size_t>(u)] + slab.face_slope * v_mm;
          const double back = slab.back_mm[static_cast<std::size_t>(u)] + slab.back_slope * v_mm;
          if (!std::isfinite(face) || !std::isfinite(back)) continue;
          const int first = std::max(0, static_cast<int>(std::ceil((face - grow_mm) / spacing)));
          const int last = std::min(grid.size[wa] - 1, static_cast<int>(std::floor((back + grow_mm) / spacing)));
          for (int w = first; w <= last; ++w) {
            std::array<int, 3> at{};
            at[ua] = u, at[va] = v, at[wa] = slab.from_end ? grid.size[wa] - 1 - w : w;
            work(at, w * spacing - face, back - w * spacing);
          }
        }
    }
}

}  // namespace leastharm::segment_detail
