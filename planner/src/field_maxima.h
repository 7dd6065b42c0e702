#pragma once

#include <vector>

#include "refined_field.h"

namespace leastharm {

/// Greatest values of a refined field over neighbourhoods of growing size, its link error added: what a line near a
/// point can collect at most.
class FieldMaxima {
 public:
  FieldMaxima() = default;
  FieldMaxima(const RefinedField& field, const Volume<float>& voxels, const Refinement& refinement);

  [[nodiscard]] int level_for(double radius_mm) const {
    int level = 0;
    while (level + 1 < static_cast<int>(levels_.size()) && levels_[static_cast<std::size_t>(level)].radius_mm < radius_mm) ++level;
    return level;
  }
  [[nodiscard]] double most_radius_mm() const { return levels_.back().radius_mm; }
  [[nodiscard]] float at(int level, const Vec3& p) const {
    const Level& l = levels_[static_cast<std::size_t>(level)];
    const float x = static_cast<float>(p.x()) * l.inverse[0] + 0.5f, y = static_cast<float>(p.y()) * l.inverse[1] + 0.5f,
                z = static_cast<float>(p.z()) * l.inverse[2] + 0.5f;
    if (!(x >= 0 && y >= 0 && z >= 0)) return 0;
    const int i = static_cast<int>(x), j = static_cast<int>(y), k = static_cast<int>(z);
    if (i >= l.size[0] || j >= l.size[1] || k >= l.size[2]) return 0;
    return l.values[static_cast<std::size_t>(i + l.stride_j * j + l.stride_k * k)];
  }
  /// Greatest value anywhere.
  [[nodiscard]] float most() const { return most_; }

 private:
  struct Level {
    Vec3 spacing_mm{1, 1, 1};
    double radius_mm = 0;
    std::array<int, 3> size{0, 0, 0};
    std::array<float, 3> inverse{1, 1, 1};
    std::ptrdiff_t stride_j = 0, stride_k = 0;
    std::vector<float> values;
  };
  void make_next(int stride);
  std::vector<Level> levels_;
  float most_ = 0;
};

}  // namespace leastharm
