#include <numbers>

#include "scenario.h"
#include "skeleton.h"
#include "surroundings.h"

namespace leastharm::phantom {
namespace {

Vec3 sided(int side, double x, double y, double z) { return {side * x, y, z}; }

// Along the back, from the root of the tail to the skull.
Vec3 cat_spine(double z) { return {0, 13 - 0.0006 * (z - 70) * (z - 70), z}; }

Parts thin_bone(const std::vector<Vec3>& course, double radius) {
  std::vector<TubePoint> points;
  for (const Vec3& p : course) points.push_back({p, radius, radius});
  return long_bone(points, Vec3(1, 0.3, 0.2), 0.7, texture::spongy_bone());
}

Parts cat_spine_and_ribs() {
  Parts out;
  for (double z = 4; z < 160; z += 6.4) {
    append(out, spongy_bone_of(drum(cat_spine(z), Vec3::UnitZ(), Vec3::UnitX(), 4.2, 3.4, 2.7), 0.6));
    append(out, thin_bone({cat_spine(z) + Vec3(0, 4, 1), cat_spine(z) + Vec3(0, 9, -1)}, 1.4));
    if (z < 60)
      for (const int side : {1, -1})
        append(out, thin_bone({cat_spine(z) + sided(side, 3, 0, 0), cat_spine(z) + sided(side, 10, -2, 3)}, 1.2));
  }
  for (int n = 0; n < 12; ++n)
    for (const int side : {1, -1}) {
      std::vector<Vec3> rib;
      const double z = 138 - 6.4 * n, wide = 13 + 0.45 * n, deep = 13 + 0.35 * n;
      for (double angle = 0.1; angle < (n < 9 ? 2.75 : 1.9); angle += 0.25)
        rib.push_back(sided(side, wide * std::sin(angle), -4 + deep * std::cos(angle), z - 5 * angle));
      append(out, thin_bone(rib, 1.3));
    }
  append(out, thin_bone({Vec3(0, -17, 122), Vec3(0, -19, 80)}, 1.8));
  append(out, thin_bone({Vec3(0, 12, 2), Vec3(0, 10, -14), Vec3(0, 0, -24), Vec3(0, -12, -20), Vec3(0, -19, 2), Vec3(0, -21, 40)}, 1.8));
  return out;
}

struct Limb {
  std::vector<Vec3> course;
  double bone, flesh;   // radii
};

std::vector<Limb> cat_limbs(int side) {
  const auto at = [&](double x, double y, double z) { return sided(side, x, y, z); };
  return {{{at(15, 2, 128), at(18, -4, 92)}, 3, 7},
          {{at(18, -4, 92), at(16, -17, 56), at(13, -19, 30)}, 2.4, 4.5},
          {{at(11, 5, 8), at(17, -12, 50)}, 3.2, 8},
          {{at(17, -12, 50), at(14, 4, -2), at(11, 2, -16)}, 2.8, 5},
          {{at(11, 2, -16), at(10, -14, -20), at(9, -20, -10)}, 2.2, 4}};
}

Parts cat_limb_bones() {
  Parts out;
  for (const int side : {1, -1}) {
    const auto at = [&](double x, double y, double z) { return sided(side, x, y, z); };
    append(out, spongy_bone_of(plate(at(9, 14, 136), at(15, 2, 128), at(13, 12, 104), 1.6), 0.5));
    append(out, spongy_bone_of(plate(at(6, 12, 30), at(10, 4, 6), at(5, 8, 2), 2.2), 0.5));
    for (const Limb& limb : cat_limbs(side)) append(out, thin_bone(limb.course, limb.bone));
  }
  return out;
}

Parts cat_skull() {
  Parts out;
  const Vec3 brain(0, 2, 178), muzzle(0, -20, 174);
  append(out, spongy_bone_of(ellipsoid(muzzle, Vec3(11, 14, 10)), 1));
  for (const int side : {1, -1}) {
    append(out, thin_bone({sided(side, 10, -16, 172), sided(side, 20, -6, 174), sided(side, 16, 8, 174)}, 1.5));
    append(out, thin_bone({sided(side, 14, 6, 168), sided(side, 11, -14, 160), sided(side, 3, -30, 164)}, 2.4));
    for (int n = 0; n < 4; ++n)
      out.push_back({ellipsoid(sided(side, 8 - 1.2 * n, -18 - 4.0 * n, 166), Vec3(1.4, 1.6, 3)), Material::bone, texture::tooth()});
  }
  out.push_back({ellipsoid(brain, Vec3(16, 20, 16)), Material::bone, texture::cortical_bone()});
  out.push_back({ellipsoid(brain, Vec3(14.6, 18.6, 14.6)), Material::air, texture::air()});
  for (const int side : {1, -1})
    out.push_back({ellipsoid(sided(side, 10, -19, 181), Vec3(7, 8, 7)), Material::air, texture::air()});
  out.push_back({ellipsoid(Vec3(0, -22, 174), Vec3(4.5, 10, 5)), Material::air, texture::air()});
  return out;
}

std::vector<ShapePtr> cat_flesh() {
  const std::vector<Station> trunk{{-24, -2, 12, 14, 12, 2},  {0, 0, 18, 20, 18, 2.2},  {45, 0, 20, 22, 20, 2.2},
                                   {95, 0, 20, 20, 21, 2.2},  {130, 0, 18, 17, 19, 2.1}, {150, 0, 13, 13, 15, 2},
                                   {165, 0, 11, 11, 13, 2}};
  std::vector<ShapePtr> out{std::make_shared<Loft>(trunk), ellipsoid(Vec3(0, 1, 178), Vec3(19, 23, 19)),
                            ellipsoid(Vec3(0, -20, 171), Vec3(14, 17, 14)),
                            tube({{Vec3(0, 12, 2), 5, 5}, {Vec3(0, 0, -24), 5, 5}, {Vec3(0, -19, 2), 4, 4}, {Vec3(0, -21, 40), 4, 4}}, Vec3::UnitX())};
  for (const int side : {1, -1})
    for (const Limb& limb : cat_limbs(side)) {
      std::vector<TubePoint> points;
      for (const Vec3& p : limb.course) points.push_back({p, limb.flesh, limb.flesh});
      out.push_back(tube(points, Vec3::UnitX()));
    }
  return out;
}

}  // namespace

Scene animal_bundle(const BuildRequest& request) {
  const auto tile = std::make_shared<const NoiseTile>(mix(request.seed ^ 0x636174ULL));
  const Move move{.turn = request.turn};
  const Box whole{{-50, -60, -50}, {50, 60, 230}};
  const ShapePtr skin = baked(rough(united(cat_flesh(), 3), tile, 0.5, 9), whole, 1.5, request.threads);
  const ShapePtr hull = baked(united(cat_flesh(), 9), whole, 1.5, request.threads);
  std::vector<ShapePtr> ears{swollen(hull, 7, tile, 1.2, 22)};
  for (const int side : {1, -1}) ears.push_back(stretch({sided(side, 13, 0, 196), 7, 5}, {sided(side, 16, 0, 210), 2, 2}, Vec3::UnitX()));
  const ShapePtr outside = united(ears, 3);
  Parts parts;
  const auto add = [&](const ShapePtr& shape, Material material, const Texture& t) { parts.push_back({shape, material, t}); };
  add(outside, Material::wrapping, texture::linen({ears[0], 1.4, 0.28, 0.0}));
  add(skin, Material::body, texture::dried_skin());
  add(swollen(skin, -1.2, tile, 0.2, 12), Material::body, texture::dried_tissue());
  const ShapePtr room = rough(std::make_shared<Loft>(std::vector<Station>{{14, 0, 6, 8, 4, 2}, {30, -1, 14, 15, 9, 2}, {60, -1, 16, 17, 10, 2.2}, {95, -1, 15, 15, 11, 2.2}, {128, -1, 8, 9, 7, 2}}), tile, 0.7, 7);
  add(room, Material::air, texture::air());
  Scene scene;
  for (const int side : {1, -1}) {
    add(common(rough(tube({{sided(side, 9, 0, 34), 6.5, 8}, {sided(side, 9, 0, 88), 7, 9}}, Vec3::UnitX()), tile, 0.6, 5), room), Material::packing, texture::sawdust());
    scene.points[side > 0 ? "packing_left" : "packing_right"] = move.apply(sided(side, 9, 0, 60));
  }
  add(tube({{cat_spine(8), 7, 6}, {cat_spine(150), 6, 6}}, Vec3::UnitX()), Material::body, texture::dried_tissue());
  add(common(ellipsoid(Vec3(0, 8, -6), Vec3(16, 13, 15)), common(skin, half_space(Vec3(0, 4, 0), Vec3(0, -1, 0.1), whole))), Material::resin, texture::resin());
  append(parts, cat_spine_and_ribs());
  append(parts, cat_limb_bones());
  append(parts, cat_skull());
  add(ellipsoid(Vec3(4, -18, 140), Vec3(3, 2, 3.5)), Material::dense, texture::faience());
  scene.points["amulet"] = move.apply(Vec3(4, -18, 140));
  scene.points["resin"] = move.apply(Vec3(6, 8, -10));
  scene.parts = board(request.region, lowest_y(*moved(outside, move), request.region) - 0.5, 38, 9);
  append(scene.parts, moved(parts, move));
  for (double z = -10; z <= 200; z += 10) scene.midline.push_back(move.apply(cat_spine(z)));
  return scene;
}

}  // namespace leastharm::phantom
