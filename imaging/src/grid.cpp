#include "imaging/grid.h"

namespace leastharm {

bool same_grid(const Grid& a, const Grid& b, double tolerance_mm) {
  if (a.size != b.size) return false;
  for (int corner = 0; corner < 8; ++corner) {
    const Vec3 index{corner & 1 ? a.size[0] - 1.0 : 0.0, corner & 2 ? a.size[1] - 1.0 : 0.0,
                     corner & 4 ? a.size[2] - 1.0 : 0.0};
    if ((a.lps_from_index(index) - b.lps_from_index(index)).norm() > tolerance_mm) return false;
  }
  return true;
}

}  // namespace leastharm
