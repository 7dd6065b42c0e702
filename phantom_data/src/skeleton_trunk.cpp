#include <algorithm>
#include <numbers>

#include "skeleton.h"

namespace leastharm::phantom {
namespace {

constexpr int kVertebrae = 24;   // L5 upwards to C1

struct Vertebra {
  Vec3 centre, axis;
  double half_height, half_side, half_deep;
  bool lumbar, neck;
};

std::vector<Vertebra> vertebrae() {
  std::vector<Vertebra> out;
  double z = kSacrumTop_mm;
  for (int n = 0; n < kVertebrae; ++n) {
    const bool lumbar = n < 5, neck = n >= 17;
    const double pitch = lumbar ? 27 : neck ? 14 : 22 - 0.436 * (n - 5);
    const double upward = (n - 5) / 11.0;
    const double side = lumbar ? 21 : neck ? 11 : 18.5 - 5 * upward;
    const double deep = lumbar ? 15 : neck ? 8 : 14 - 3.5 * upward;
    const double level = z + 0.5 * pitch;
    const Vec3 axis = (spine_at(level + 8) - spine_at(level - 8)).normalized();
    const double disc = lumbar ? 5 : neck ? 3 : 3.2;
    out.push_back({spine_at(level), axis, 0.5 * (pitch - disc), side, deep, lumbar, neck});
    z += pitch;
  }
  return out;
}

Parts rod(const Vec3& a, const Vec3& b, double radius) {
  return long_bone({{a, radius, radius}, {b, 0.85 * radius, 0.85 * radius}}, Vec3(0.3, 0.2, 1), 1.2,
                   texture::spongy_bone());
}

// Pedicles, laminae, transverse and spinous processes round the canal.
Parts arch(const Vertebra& v) {
  Parts out;
  const double w = v.half_side, back = v.half_deep, thick = v.lumbar ? 4.2 : v.neck ? 2.8 : 3.4;
  const Vec3 canal = v.centre + Vec3(0, back + 9, 0), tip = v.centre + Vec3(0, back + (v.lumbar ? 33 : v.neck ? 20 : 25), v.lumbar ? -5 : v.neck ? -4 : -16);
  for (const int side : {1, -1}) {
    const Vec3 root = v.centre + Vec3(side * 0.62 * w, 0.8 * back, 3), bend = canal + Vec3(side * 0.68 * w, 2, 0);
    const Vec3 join = canal + Vec3(0, 9, -3);
    append(out, rod(root, bend, thick));
    append(out, rod(bend, join, thick));
    const Vec3 out_to = v.neck ? Vec3(side * (w + 9), back + 2, 0) : Vec3(side * (w + (v.lumbar ? 16 : 13)), back + (v.lumbar ? 8 : 16), 2);
    append(out, rod(bend, v.centre + out_to, 0.85 * thick));
    append(out, rod(bend + Vec3(0, 1, 6), bend + Vec3(0, 2, -9), 1.1 * thick));
  }
  append(out, long_bone({{canal + Vec3(0, 9, -3), 5, 0.8 * thick}, {tip, 5.5, thick}}, Vec3::UnitZ(), 1.1,
                        texture::spongy_bone()));
  return out;
}

}  // namespace

Vec3 spine_at(double z) {
  struct Level {
    double z, y;
  };
  static constexpr std::array<Level, 9> kLevels{{{0, 52}, {40, 46}, {82, 33}, {150, 20}, {215, 24},
                                                 {290, 33}, {370, 34}, {452, 18}, {560, 4}}};
  std::size_t n = 0;
  while (n + 2 < kLevels.size() && kLevels[n + 1].z < z) ++n;
  const Level &a = kLevels[n], &b = kLevels[n + 1];
  const double t = std::clamp((z - a.z) / (b.z - a.z), 0.0, 1.0);
  return {0, a.y + t * (b.y - a.y), z};
}

Parts long_bone(const std::vector<TubePoint>& points, const Vec3& side, double shell_mm,
                const Texture& inside) {
  Parts out;
  for (std::size_t n = 1; n < points.size(); ++n)
    out.push_back({stretch(points[n - 1], points[n], side), Material::bone, texture::cortical_bone()});
  for (std::size_t n = 1; n < points.size(); ++n) {
    TubePoint a = points[n - 1], b = points[n];
    for (TubePoint* p : {&a, &b}) {
      p->wide = std::max(0.4, p->wide - shell_mm);
      p->flat = std::max(0.4, p->flat - shell_mm);
    }
    out.push_back({stretch(a, b, side), Material::bone, inside});
  }
  return out;
}

Parts spongy_bone_of(const ShapePtr& shape, double shell_mm) {
  return {{shape, Material::bone, texture::cortical_bone()},
          {grown(shape, -shell_mm), Material::bone, texture::spongy_bone()}};
}

Parts spine_bones() {
  Parts out;
  const std::vector<Vertebra> all = vertebrae();
  for (std::size_t n = 0; n + 1 < all.size(); ++n) {
    const Vec3 middle = 0.5 * (all[n].centre + all[n + 1].centre);
    out.push_back({drum(middle, all[n].axis, Vec3::UnitX(), 0.95 * all[n].half_side,
                        0.95 * all[n].half_deep, 4),
                   Material::body, texture::dried_organ()});
  }
  for (const Vertebra& v : all) {
    append(out, spongy_bone_of(drum(v.centre, v.axis, Vec3::UnitX(), v.half_side, v.half_deep,
                                    v.half_height), 1.3));
    append(out, arch(v));
  }
  // Sacrum and coccyx: a wedge of fused bodies with its wings.
  const Vec3 top = spine_at(76), middle = spine_at(40), tip = spine_at(4) + Vec3(0, -4, 0);
  append(out, long_bone({{top, 27, 14}, {middle, 20, 10}, {tip, 7, 5}}, Vec3::UnitX(), 1.4,
                        texture::spongy_bone()));
  for (const int side : {1, -1})
    append(out, long_bone({{top + Vec3(side * 14, 4, -4), 15, 13}, {top + Vec3(side * 38, 9, -12), 20, 10}},
                          Vec3::UnitZ(), 1.4, texture::spongy_bone()));
  return out;
}

Parts rib_cage(const Loft& torso) {
  struct Rib {
    double drop, bone_to, cartilage_to;   // mm; fractions of the way from back (0) to front (1)
  };
  static constexpr std::array<Rib, 12> kRibs{{{26, .80, .93}, {40, .80, .94}, {52, .79, .94}, {62, .78, .94},
                                              {70, .77, .94}, {76, .76, .93}, {80, .74, .92}, {80, .70, .84},
                                              {76, .66, .78}, {66, .62, .70}, {40, .50, .50}, {24, .38, .38}}};
  Parts out;
  const std::vector<Vertebra> all = vertebrae();
  for (int n = 0; n < 12; ++n) {
    const Vertebra& v = all[static_cast<std::size_t>(16 - n)];
    const Rib& rib = kRibs[static_cast<std::size_t>(n)];
    const auto on_wall = [&](double way, int side) {
      const double angle = way * std::numbers::pi, z = v.centre.z() - rib.drop * 0.5 * (1 - std::cos(angle));
      Vec3 p = torso.surface(angle, z, 7.5);
      p.x() *= side;
      return p;
    };
    for (const int side : {1, -1}) {
      std::vector<TubePoint> bone{{v.centre + Vec3(side * (v.half_side + 1), v.half_deep - 3, 2), 4.5, 4},
                                  {v.centre + Vec3(side * (v.half_side + 14), v.half_deep + 15, 2), 4.5, 4}};
      for (double way = 0.24; way < rib.bone_to; way += 0.05) bone.push_back({on_wall(way, side), 6, 3.5});
      bone.push_back({on_wall(rib.bone_to, side), 6.5, 3.5});
      append(out, long_bone(bone, Vec3::UnitZ(), 1.1, texture::spongy_bone()));
      for (double way = rib.bone_to; way < rib.cartilage_to; way += 0.05)
        out.push_back({stretch({on_wall(way, side), 5.5, 3.4},
                               {on_wall(std::min(way + 0.05, rib.cartilage_to), side), 5.5, 3.4}, Vec3::UnitZ()),
                       Material::body, texture::dried_tissue()});
    }
  }
  const Vec3 top = torso.surface(std::numbers::pi, 418, 8), middle = torso.surface(std::numbers::pi, 350, 8),
             end = torso.surface(std::numbers::pi, 285, 8);
  append(out, long_bone({{top, 24, 5}, {middle, 15, 4.5}, {end, 13, 4}}, Vec3::UnitX(), 1.2,
                        texture::spongy_bone()));
  return out;
}

Parts pelvis_bones() {
  Parts out;
  for (const int side : {1, -1}) {
    const auto at = [&](double x, double y, double z) { return Vec3(side * x, y, z); };
    // The wing, from the sacral joint (s) over the crest to the front spine (f), down to the socket (a).
    const Vec3 s = at(44, 48, 70), s_low = at(46, 44, 36), crest_back = at(58, 50, 102), crest = at(104, 16, 116),
               f = at(116, -36, 84), f_low = at(98, -34, 44), a = at(82, -2, 22);
    for (const auto& [p, q, r] : {std::array{s, crest_back, crest}, std::array{s, crest, a}, std::array{s, s_low, a},
                                  std::array{crest, f, a}, std::array{f, f_low, a}})
      append(out, spongy_bone_of(plate(p, q, r, 7), 1.4));
    append(out, long_bone({{crest_back, 5.5, 5.5}, {at(88, 36, 114), 6, 6}, {crest, 6.5, 6.5}, {at(114, -12, 104), 6, 6}, {f, 6, 6}},
                          Vec3::UnitX(), 1.4, texture::spongy_bone()));
    append(out, spongy_bone_of(ellipsoid(at(82, 0, 4), Vec3(24, 30, 30)), 1.6));
    const Vec3 pubis = at(9, -46, -16), sit = at(58, 34, -40);
    append(out, long_bone({{at(72, -16, 4), 10, 9}, {at(42, -40, 0), 7, 7}, {pubis, 9, 8}}, Vec3::UnitZ(), 1.5, texture::spongy_bone()));
    append(out, long_bone({{at(72, 18, -6), 14, 11}, {sit, 12, 11}, {at(34, -14, -36), 6, 6}, {pubis + Vec3(0, 0, -8), 7, 6}},
                          Vec3::UnitZ(), 1.5, texture::spongy_bone()));
    out.push_back({ellipsoid(at(86, 0, 0), Vec3::Constant(24)), Material::body, texture::dried_tissue()});
  }
  out.push_back({ellipsoid(Vec3(0, -46, -18), Vec3(5, 8, 15)), Material::body, texture::dried_tissue()});
  return out;
}

}  // namespace leastharm::phantom
