#include <numbers>

#include "skeleton.h"

namespace leastharm::phantom {
namespace {

const Vec3 kOrbit(32, -62, -21), kOrbitRadii(19.5, 24, 18);   // of the left side

// The brain's room, or the skull round it: an ellipsoid over a floor of three steps, higher in front.
ShapePtr vault(double inset_mm) {
  const auto over = [&](double from_y, double to_y, double floor_z) {
    return block(Vec3(0, 0.5 * (from_y + to_y), 0.5 * (floor_z + 90)),
                 Vec3(90 - inset_mm, 0.5 * (to_y - from_y) - inset_mm, 0.5 * (90 - floor_z) - inset_mm));
  };
  return common(ellipsoid(Vec3::Zero(), Vec3(69 - inset_mm, 87 - inset_mm, 69 - inset_mm)),
                united({over(-95, 0, -14), over(-42, 30, -40), over(-6, 95, -56)}, 20));
}

void hollow(Parts& out, const Vec3& centre, const Vec3& radii, Material material, const Texture& t) {
  out.push_back({ellipsoid(centre, radii), material, t});
}

// Teeth on an arch: x to the side, y to the front, as capsules.
Parts teeth(double z, double height) {
  Parts out;
  for (int n = -7; n <= 7; ++n) {
    if (n == 0) continue;
    const double angle = (n > 0 ? n - 0.5 : n + 0.5) * 0.19;
    const Vec3 at(25 * std::sin(angle), -56 - 29 * std::cos(angle), z);
    const double thick = std::abs(n) > 4 ? 4.6 : 3.4;
    out.push_back({stretch({at + Vec3(0, 0, -0.5 * height), thick, thick}, {at + Vec3(0, 0, 0.5 * height), 0.8 * thick, thick}, Vec3::UnitX()),
                   Material::bone, texture::tooth()});
  }
  return out;
}

Parts jaw() {
  Parts out;
  const Vec3 side = Vec3::UnitZ();
  for (const int s : {1, -1})
    append(out, long_bone({{Vec3(s * 52, -14, -44), 7, 5}, {Vec3(s * 50, -20, -72), 11, 4}, {Vec3(s * 46, -26, -96), 11, 5},
                           {Vec3(s * 36, -56, -104), 12, 5.5}, {Vec3(s * 22, -80, -108), 13, 6}, {Vec3(0, -88, -110), 13, 6.5}},
                          side, 1.6, texture::spongy_bone()));
  return out;
}

Parts face() {
  Parts out;
  append(out, spongy_bone_of(ellipsoid(Vec3(0, -62, -58), Vec3(31, 27, 24)), 1.5));
  append(out, spongy_bone_of(ellipsoid(Vec3(0, -66, -74), Vec3(28, 24, 10)), 1.5));
  for (const int s : {1, -1}) {
    // Orbit: a thin bony cup with dried remains at its bottom.
    hollow(out, kOrbit.cwiseProduct(Vec3(s, 1, 1)), kOrbitRadii, Material::bone, texture::cortical_bone());
    append(out, long_bone({{Vec3(s * 42, -72, -42), 7, 6}, {Vec3(s * 60, -50, -42), 5, 3.5}, {Vec3(s * 66, -26, -40), 5, 3}, {Vec3(s * 62, -8, -38), 5, 3.5}},
                          Vec3::UnitZ(), 1.2, texture::spongy_bone()));
  }
  for (const int s : {1, -1}) {
    hollow(out, kOrbit.cwiseProduct(Vec3(s, 1, 1)) + Vec3(0, -5, 0), kOrbitRadii - Vec3(1.8, -2, 1.8), Material::air, texture::air());
    hollow(out, Vec3(s * 31, -54, -21), Vec3(12, 10, 12), Material::body, texture::dried_organ());
    hollow(out, Vec3(s * 21, -62, -52), Vec3(8, 15, 12), Material::air, texture::air());
  }
  hollow(out, Vec3(0, -52, -90), Vec3(20, 26, 13), Material::body, texture::dried_organ());   // tongue
  for (const int s : {1, -1}) hollow(out, Vec3(s * 5.4, -64, -22), Vec3(4.6, 18, 12), Material::air, texture::air());
  hollow(out, Vec3(0, -70, -48), Vec3(11, 24, 20), Material::air, texture::air());
  out.push_back({block(Vec3(0.4, -62, -44), Vec3(0.8, 10, 14)), Material::bone, texture::cortical_bone()});
  for (const int s : {1, -1})
    out.push_back({stretch({Vec3(s * 6, -58, -52), 1.2, 8}, {Vec3(s * 6, -80, -54), 1.2, 6}, Vec3::UnitX()), Material::bone, texture::cortical_bone()});
  hollow(out, Vec3(0, -82, 12), Vec3(14, 4, 9), Material::air, texture::air());
  return out;
}

}  // namespace

Move head_move(double scale) {
  const Vec3 joint(0, 12, -50), on_spine = spine_at(kSkullBase_mm + 6);
  return {Mat3::Identity(), on_spine - scale * joint, scale};
}

ShapePtr skull_room() { return vault(6.5); }

std::vector<ShapePtr> head_flesh(double thickness_mm) {
  const double t = thickness_mm;
  std::vector<ShapePtr> out{ellipsoid(Vec3::Zero(), Vec3(69 + t, 87 + t, 69 + t)),
                            ellipsoid(Vec3(0, -46, -54), Vec3(54 + t, 44 + t, 44 + t)),
                            tube({{Vec3(50, -14, -50), 12 + t, 9 + t}, {Vec3(44, -30, -96), 14 + t, 6 + t}, {Vec3(20, -78, -106), 15 + t, 7 + t},
                                  {Vec3(-20, -78, -106), 15 + t, 7 + t}, {Vec3(-44, -30, -96), 14 + t, 6 + t}, {Vec3(-50, -14, -50), 12 + t, 9 + t}}, Vec3::UnitZ()),
                            ellipsoid(Vec3(0, -50, -92), Vec3(36, 34, 20)),
                            tube({{Vec3(0, -84, -22), 5 + t, 4 + t}, {Vec3(0, -96, -52), 9 + t, 7 + t}}, Vec3::UnitX())};
  return out;
}

Parts skull_bones() {
  Parts out;
  out.push_back({vault(0), Material::bone, texture::cortical_bone()});
  out.push_back({vault(1.8), Material::bone, texture::spongy_bone()});
  out.push_back({vault(4.9), Material::bone, texture::cortical_bone()});
  append(out, face());
  out.push_back({skull_room(), Material::air, texture::air()});
  for (const int s : {1, -1}) {
    out.push_back({stretch({Vec3(s * 18, -8, -38), 8, 7}, {Vec3(s * 58, 14, -32), 12, 9}, Vec3::UnitZ()), Material::bone, texture::cortical_bone()});
    hollow(out, Vec3(s * 60, 24, -44), Vec3(9, 13, 16), Material::bone, texture::spongy_bone());
    out.push_back({stretch({Vec3(s * 62, 0, -34), 3, 3}, {Vec3(s * 84, 0, -34), 3, 3}, Vec3::UnitZ()), Material::air, texture::air()});
    out.push_back({plate(Vec3(s * 14, -34, -30), Vec3(s * 60, -32, -18), Vec3(s * 30, -48, -6), 2.4), Material::bone, texture::cortical_bone()});
    // Ends of the orbits that stand into the room behind the forehead.
    out.push_back({common(shell(ellipsoid(kOrbit.cwiseProduct(Vec3(s, 1, 1)), kOrbitRadii), 1.8), skull_room()), Material::bone, texture::cortical_bone()});
  }
  out.push_back({drum(Vec3(0, 14, -51), Vec3(0, 0, 1), Vec3::UnitX(), 14, 17, 6), Material::body, texture::dried_organ()});
  append(out, jaw());
  append(out, teeth(-82, 12));
  append(out, teeth(-96, 11));
  return out;
}

}  // namespace leastharm::phantom
