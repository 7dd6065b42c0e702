#include "skeleton.h"

namespace leastharm::phantom {
namespace {

Parts shaft(const Course& course, double radius, double shell_mm) {
  std::vector<TubePoint> points;
  for (const Vec3& p : course) points.push_back({p, radius, radius});
  return long_bone(points, Vec3(1, 0.3, 0.2), shell_mm, texture::marrow_space());
}

Parts ball(const Vec3& centre, double radius) {
  return spongy_bone_of(ellipsoid(centre, Vec3::Constant(radius)), 1.2);
}

Vec3 sided(int side, double x, double y, double z) { return {side * x, y, z}; }

}  // namespace

Course upper_arm(int side) { return {sided(side, 124, 4, 412), sided(side, 130, 0, 320), sided(side, 132, -8, 198)}; }

Course forearm(int side, bool crossed) {
  const auto at = [&](double x, double y, double z) { return sided(side, x, y, z); };
  if (!crossed) return {at(132, -8, 198), at(138, -26, 130), at(136, -48, 60), at(126, -64, 10)};
  if (side > 0)
    return {at(132, -8, 198), at(106, -58, 222), at(56, -91, 254), at(0, -108, 288), at(-44, -97, 316), at(-70, -80, 338)};
  return {at(132, -8, 198), at(106, -54, 226), at(56, -76, 258), at(0, -82, 290), at(-44, -77, 320), at(-70, -70, 340)};
}

Course leg(int side) {
  return {sided(side, 78, 0, 8), sided(side, 68, 0, -160), sided(side, 58, -4, -390), sided(side, 54, 6, -600), sided(side, 50, 12, -775)};
}

Parts shoulder_bones() {
  Parts out;
  for (const int side : {1, -1}) {
    const auto at = [&](double x, double y, double z) { return sided(side, x, y, z); };
    const Vec3 socket = at(102, 18, 406), top = at(58, 50, 418), low = at(72, 60, 300), low_out = at(84, 52, 312), middle = at(62, 58, 380);
    for (const auto& [p, q, r] : {std::array{socket, top, middle}, std::array{socket, middle, low}, std::array{socket, low, low_out}})
      append(out, spongy_bone_of(plate(p, q, r, 4), 1.2));
    append(out, long_bone({{middle, 3, 6}, {at(92, 48, 416), 4, 8}, {at(122, 26, 440), 5, 9}, {at(124, 2, 442), 4, 9}},
                          Vec3::UnitZ(), 1.1, texture::spongy_bone()));
    append(out, spongy_bone_of(ellipsoid(socket, Vec3(10, 11, 16)), 1.3));
    append(out, long_bone({{at(16, -46, 424), 9, 8}, {at(50, -42, 434), 6, 6}, {at(90, -14, 440), 6, 6}, {at(118, -2, 440), 8, 5}},
                          Vec3::UnitZ(), 1.4, texture::spongy_bone()));
  }
  return out;
}

Parts arm_bones(int side, bool crossed) {
  Parts out;
  const Course arm = upper_arm(side), fore = forearm(side, crossed);
  append(out, shaft(arm, 9.5, 3));
  append(out, ball(arm.front() + sided(side, -3, 2, 2), 20));
  append(out, long_bone({{arm.back() + Vec3(-15, 0, 6), 9, 7}, {arm.back() + Vec3(15, 0, 6), 9, 7}}, Vec3::UnitZ(), 1.3, texture::spongy_bone()));
  Course radius, ulna;
  const Vec3 apart = crossed ? Vec3(0, 0, 7.5) : Vec3(0, -7.5, 0);
  for (const Vec3& p : fore) {
    radius.push_back(p + apart);
    ulna.push_back(p - apart);
  }
  ulna.front() += Vec3(0, 10, 2);
  append(out, shaft(radius, 5.5, 2));
  append(out, shaft(ulna, 5.5, 2));
  append(out, ball(radius.back(), 8));
  append(out, ball(ulna.back(), 6.5));
  const Vec3 wrist = fore.back(), along = (fore.back() - fore[fore.size() - 2]).normalized();
  for (int digit = 0; digit < 5; ++digit) {
    const double spread = 6.5 * (digit - 2);
    const Vec3 across = spread / 7.5 * apart, root = wrist + 14 * along + 0.6 * across;
    const Vec3 knuckle = root + 36 * along + 0.6 * across, tip = knuckle + (digit == 4 ? 26.0 : 40.0) * along + Vec3(0, 10, -4);
    append(out, long_bone({{root, 3.6, 3.6}, {knuckle, 3.4, 3.4}}, Vec3::UnitX(), 1.1, texture::spongy_bone()));
    append(out, long_bone({{knuckle + 3 * along, 3, 3}, {tip, 2.4, 2.4}}, Vec3::UnitX(), 1.0, texture::spongy_bone()));
  }
  append(out, spongy_bone_of(ellipsoid(wrist + 7 * along, Vec3(11, 8, 13)), 1.0));
  return out;
}

Parts leg_bones() {
  Parts out;
  for (const int side : {1, -1}) {
    const auto at = [&](double x, double y, double z) { return sided(side, x, y, z); };
    append(out, ball(at(86, 0, 0), 21.5));
    append(out, long_bone({{at(90, 2, -3), 15, 12}, {at(112, 8, -18), 14, 13}}, Vec3::UnitZ(), 1.8, texture::spongy_bone()));
    append(out, long_bone({{at(116, 12, -6), 12, 12}, {at(112, 8, -44), 15, 15}}, Vec3::UnitX(), 1.8, texture::spongy_bone()));
    append(out, shaft({at(110, 8, -40), at(84, 0, -180), at(62, -4, -350)}, 13, 4.5));
    append(out, spongy_bone_of(ellipsoid(at(58, -2, -372), Vec3(34, 28, 26)), 1.5));
    append(out, spongy_bone_of(ellipsoid(at(58, -44, -374), Vec3(19, 9, 20)), 1.5));
    append(out, spongy_bone_of(ellipsoid(at(57, 2, -420), Vec3(32, 24, 22)), 1.5));
    append(out, shaft({at(56, -4, -424), at(54, 2, -600), at(50, 8, -748)}, 11.5, 4));
    append(out, shaft({at(84, 14, -430), at(76, 14, -600), at(64, 14, -758)}, 6, 2));
    append(out, spongy_bone_of(ellipsoid(at(54, 10, -766), Vec3(18, 24, 14)), 1.2));
    append(out, spongy_bone_of(ellipsoid(at(52, 30, -784), Vec3(14, 30, 16)), 1.2));
    for (int ray = 0; ray < 5; ++ray)
      append(out, long_bone({{at(40 + 6 * ray, -14, -782), 5, 5}, {at(34 + 10 * ray, -74, -800), 4, 4}, {at(34 + 10 * ray, -112, -806), 3.2, 3.2}},
                            Vec3::UnitX(), 1.1, texture::spongy_bone()));
  }
  return out;
}

}  // namespace leastharm::phantom
