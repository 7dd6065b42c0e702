#include "nifti_writer.h"

#include <Eigen/Geometry>
#include <cstdint>
#include <cstring>

namespace leastharm {

std::string nifti_header(const Grid& grid, std::size_t voxel_bytes) {
  constexpr std::size_t kVoxelsAt = 352;
  std::string bytes(kVoxelsAt, '\0');
  const auto put = [&]<typename T>(std::size_t at, T value) { std::memcpy(&bytes[at], &value, sizeof value); };
  put(0, std::int32_t{348});
  put(40, std::int16_t{3});
  for (std::size_t n = 0; n < 3; ++n) {
    put(42 + 2 * n, static_cast<std::int16_t>(grid.size[n]));
    put(80 + 4 * n, static_cast<float>(grid.spacing_mm[static_cast<int>(n)]));
  }
  for (std::size_t n = 4; n < 8; ++n) put(40 + 2 * n, std::int16_t{1});
  put(70, static_cast<std::int16_t>(voxel_bytes == 1 ? 2 : 4));   // unsigned 8 bit, signed 16 bit
  put(72, static_cast<std::int16_t>(8 * voxel_bytes));
  put(76, 1.0f);   // a right-handed quaternion; our grids are right-handed
  put(108, static_cast<float>(kVoxelsAt));
  put(112, 1.0f);
  bytes[123] = 2;   // mm
  put(252, std::int16_t{1});   // both places are the scanner's
  put(254, std::int16_t{1});
  const Vec3 ras_signs(-1, -1, 1);
  const Mat3 axes = ras_signs.asDiagonal() * grid.direction;
  const Vec3 origin = ras_signs.cwiseProduct(grid.origin_lps_mm);
  Eigen::Quaterniond turn(axes);
  if (turn.w() < 0) turn.coeffs() = -turn.coeffs();
  const Vec3 bcd = turn.vec();
  for (int row = 0; row < 3; ++row) {
    const auto r = static_cast<std::size_t>(row);
    put(256 + 4 * r, static_cast<float>(bcd[row]));
    put(268 + 4 * r, static_cast<float>(origin[row]));
    for (int column = 0; column < 3; ++column)
      put(280 + 16 * r + 4 * static_cast<std::size_t>(column),
          static_cast<float>(axes(row, column) * grid.spacing_mm[column]));
    put(292 + 16 * r, static_cast<float>(origin[row]));
  }
  std::memcpy(&bytes[344], "n+1", 4);
  return bytes;
}

}  // namespace leastharm
