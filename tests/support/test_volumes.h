#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <string>

#include "imaging/grid.h"

namespace leastharm::test {

/// A small oblique grid with unequal sides and spacings, far from the origin.
inline Grid oblique_grid(int columns = 23, int rows = 17, int slices = 11) {
  Grid grid;
  grid.size = {columns, rows, slices};
  grid.spacing_mm = {0.7, 0.9, 1.25};
  grid.origin_lps_mm = {-31.3, 12.7, -400.1};
  grid.direction = Eigen::AngleAxisd(0.3, Vec3(1, 2, 3).normalized()).toRotationMatrix();
  return grid;
}

/// Smooth HU by a formula of place alone, so that any resampling can be held against it: air to bone.
inline double hu_at(const Vec3& lps_mm) {
  return 200 + 700 * std::sin(lps_mm.x() / 9) * std::cos(lps_mm.y() / 11) + 400 * std::sin(lps_mm.z() / 7);
}

inline Volume<std::int16_t> formula_volume(const Grid& grid) {
  Volume<std::int16_t> volume{grid, std::vector<std::int16_t>(grid.voxel_count())};
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        volume.values[grid.offset(i, j, k)] = static_cast<std::int16_t>(
            std::lround(hu_at(grid.lps_from_index({double(i), double(j), double(k)}))));
  return volume;
}

/// The formula's HU on the usual oblique grid: what series are written from and held against.
inline const Volume<std::int16_t>& truth() {
  static const Volume<std::int16_t> volume = formula_volume(oblique_grid());
  return volume;
}

/// A folder that is gone when the test ends.
class ScratchFolder {
 public:
  ScratchFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "leastharm-test-XXXXXX").string();
    path_ = ::mkdtemp(name.data());
  }
  ~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

}  // namespace leastharm::test
