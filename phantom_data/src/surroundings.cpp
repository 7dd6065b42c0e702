#include "surroundings.h"

#include <algorithm>

namespace leastharm::phantom {

double lowest_y(const Shape& outside, const Box& within) {
  double lowest = within.low.y();
  constexpr double kStep_mm = 4;
  for (double z = within.low.z(); z <= within.high.z(); z += kStep_mm)
    for (double x = within.low.x(); x <= within.high.x(); x += kStep_mm) {
      double y = within.high.y();
      while (y > lowest) {
        const double value = outside.at({x, y, z});
        if (value < 0) break;
        y -= std::max(0.5, 0.9 * value);
      }
      lowest = std::max(lowest, y);
    }
  return lowest;
}

Parts board(const Box& content, double top_y, double half_width_mm, double thickness_mm) {
  const Vec3 centre(content.centre().x(), top_y + 0.5 * thickness_mm, content.centre().z());
  const Vec3 half(half_width_mm, 0.5 * thickness_mm, 0.5 * (content.high.z() - content.low.z()) + 20);
  return {{block(centre, half), Material::support, texture::wood()}};
}

Parts coffin(const Box& inside, double wall_mm) {
  const Vec3 middle = inside.centre(), half = 0.5 * (inside.high - inside.low);
  const double split_y = inside.low.y() + 0.25 * (inside.high.y() - inside.low.y());
  const ShapePtr outer = block(middle, half.array() + wall_mm), inner = block(middle, half);
  // A joint of 2 mm between box and lid.
  const ShapePtr joint = block({middle.x(), split_y, middle.z()}, {half.x() + 3 * wall_mm, 1, half.z() + 3 * wall_mm});
  return {{cut(cut(outer, inner), joint), Material::support, texture::wood()}};
}

Parts table(const Box& content, double top_y) {
  const double z = content.centre().z(), half_z = 0.5 * (content.high.z() - content.low.z()) + 20;
  constexpr double kHollow_mm = 420, kThick_mm = 34, kWide_mm = 205;   // radius of the upper side; thickness; half width
  const double x = content.centre().x();
  const ShapePtr slab = block({x, top_y - 20, z}, {kWide_mm, 54, half_z});
  const ShapePtr lower = drum({x, top_y - kHollow_mm + kThick_mm, z}, Vec3::UnitZ(), Vec3::UnitX(), kHollow_mm, kHollow_mm, half_z);
  const ShapePtr upper = drum({x, top_y - kHollow_mm, z}, Vec3::UnitZ(), Vec3::UnitX(), kHollow_mm, kHollow_mm, half_z + 10);
  const ShapePtr whole = cut(common(slab, lower), upper);
  return {{whole, Material::support, texture::carbon_skin()},
          {grown(whole, -1.8), Material::support, texture::foam()}};
}

}  // namespace leastharm::phantom
