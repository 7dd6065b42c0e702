#include "human.h"

#include <Eigen/Geometry>
#include <utility>

#include "skeleton.h"

namespace leastharm::phantom {
namespace {

constexpr double kSkinStep_mm = 5, kHullStep_mm = 8;   // of the lattices; the hull is smoother

// z, middle, side, front, back, exponent
Loft dried_torso() {
  return Loft({{-190, 2, 88, 22, 26, 2}, {-130, 2, 106, 40, 46, 2.1}, {-70, 3, 124, 52, 62, 2.3}, {-20, 2, 136, 58, 72, 2.5}, {60, 0, 136, 60, 76, 2.5},
               {110, 0, 126, 54, 74, 2.4},  {160, 0, 106, 47, 72, 2.4}, {200, 0, 105, 52, 72, 2.4},
               {250, 0, 110, 62, 74, 2.4},  {310, 0, 114, 68, 77, 2.4}, {370, 0, 112, 66, 77, 2.4},
               {405, 0, 112, 58, 72, 2.3},  {432, 2, 96, 46, 60, 2.2},  {455, 4, 58, 42, 50, 2.1},
               {480, 4, 40, 38, 44, 2.0}});
}
// The dried wall is thin in front, thicker beside the spine.
Loft cavity() {
  return Loft({{8, 8, 30, 22, 24, 2}, {30, 6, 72, 38, 40, 2.2}, {60, 4, 86, 46, 48, 2.3},
               {110, 2, 92, 40, 52, 2.3},  {160, 0, 90, 36, 54, 2.3}, {200, 0, 90, 40, 54, 2.3},
               {250, 0, 95, 50, 57, 2.3},  {310, 0, 99, 55, 60, 2.3}, {370, 0, 95, 53, 58, 2.3},
               {405, 0, 72, 42, 46, 2.1},  {425, 0, 40, 26, 30, 2},   {432, 0, 10, 8, 8, 2}});
}

std::vector<TubePoint> thickened(const Course& course, double from_mm, double to_mm) {
  std::vector<TubePoint> out;
  for (std::size_t n = 0; n < course.size(); ++n) {
    const double t = static_cast<double>(n) / static_cast<double>(course.size() - 1);
    const double r = from_mm + t * (to_mm - from_mm);
    out.push_back({course[n], r, r});
  }
  return out;
}

std::vector<ShapePtr> flesh(const HumanPlan& plan) {
  const double more = plan.living ? 9 : 0;
  std::vector<ShapePtr> out{std::make_shared<Loft>(dried_torso())};
  if (more > 0) out[0] = grown(out[0], 0.5 * more);
  const Move head = head_move(plan.head_scale);
  out.push_back(moved(united(head_flesh(4 + 0.5 * more), 10), head));
  out.push_back(tube({{Vec3(0, 8, 430), 42 + more, 38 + more}, {Vec3(0, 4, 500), 35 + more, 35 + more}, {Vec3(0, 4, 566), 42 + more, 38 + more}}, Vec3::UnitX()));
  for (const int side : {1, -1}) {
    out.push_back(ellipsoid(Vec3(side * 118.0, 6, 412), Vec3::Constant(29 + more)));
    out.push_back(tube(thickened(upper_arm(side), 24 + 0.7 * more, 19 + more), Vec3::UnitX()));
    out.push_back(tube(thickened(forearm(side, plan.arms_crossed), 17 + more, 14 + more), Vec3::UnitZ()));
    const Course arm = forearm(side, plan.arms_crossed);
    const Vec3 along = (arm.back() - arm[arm.size() - 2]).normalized();
    out.push_back(stretch({arm.back(), 15, 10}, {arm.back() + 58 * along + Vec3(0, 4, 0), 20, 8},
                          plan.arms_crossed ? Vec3::UnitZ() : Vec3::UnitY()));
    std::vector<TubePoint> thigh = thickened(leg(side), 62 + more, 26 + more);
    out.push_back(tube(thigh, Vec3::UnitX()));
    out.push_back(stretch({Vec3(side * 52.0, 30, -784), 20, 20}, {Vec3(side * 56.0, -108, -806), 34, 10}, Vec3::UnitX()));
  }
  return out;
}

class Builder {
 public:
  explicit Builder(const HumanPlan& plan)
      : plan_(plan), tile_(std::make_shared<NoiseTile>(mix(plan.seed ^ 0x73686170ULL))) {}

  Human build() {
    const std::vector<ShapePtr> pieces = flesh(plan_);
    const Box region = plan_.region.grown(kHullStep_mm);
    skin_ = baked(rough(united(pieces, 9), tile_, 1.2, 24), region, kSkinStep_mm, plan_.threads);
    out_.outside = skin_;
    if (plan_.wrapped) wrap(baked(united(pieces, 30), region, kHullStep_mm, plan_.threads));
    if (plan_.living) {
      fill_living();
    } else {
      fill_dried();
    }
    add_bones();
    add_finds();
    for (double z = -40; z <= 700; z += 20) out_.midline.push_back(spine_at(z));
    return std::move(out_);
  }

 private:
  void add(const ShapePtr& shape, Material material, const Texture& t) {
    out_.parts.push_back({shape, material, t});
  }

  void wrap(const ShapePtr& hull) {
    const double mm = plan_.wrapping_mm;
    out_.outside = swollen(hull, mm + plan_.air_fold_mm, tile_, 0.2 * mm, 55);
    add(out_.outside, Material::wrapping, texture::linen({out_.outside, 2.6, 0.55, 0.05}));
    if (plan_.air_fold_mm > 0)
      // Folds stand off at the front and sides; at the back the body rests on them.
      add(common(swollen(skin_, 0.65 * plan_.air_fold_mm, tile_, 0.4 * plan_.air_fold_mm, 38),
                 half_space(Vec3(0, 45, 0), Vec3(0, 1, 0), plan_.region)),
          Material::air, texture::air());
  }

  void fill_dried() {
    add(skin_, Material::body, texture::dried_skin());
    add(swollen(skin_, -2.2, tile_, 0.5, 30), Material::body, texture::dried_tissue());
    const auto room = std::make_shared<Loft>(cavity());
    const ShapePtr rough_room = rough(room, tile_, 1.6, 16);
    add(rough_room, Material::air, texture::air());
    if (plan_.resin && !plan_.filled) {   // a filling would cover the pool
      add(common(rough_room, half_space(Vec3(0, 26, 60), Vec3(0, -1, 0.55), plan_.region)), Material::resin, texture::resin());
      out_.points["resin_pelvis"] = Vec3(22, 30, 53);
    }
    if (plan_.packing) pack(*plan_.packing, rough_room);
    back_muscle(texture::dried_tissue());
    membranes(room);
    add(tube({{Vec3(0, 0, 432), 9, 8}, {Vec3(0, -16, 550), 9, 8}}, Vec3::UnitX()), Material::air, texture::air());
  }

  void pack(const Texture& filling, const ShapePtr& room) {
    if (plan_.filled)
      add(common(room, common(rough(half_space(Vec3(0, -6, 200), Vec3(0, -1, -0.05), plan_.region), tile_, 3, 20),
                              rough(half_space(Vec3(0, 0, 318), Vec3(0, 0, 1), plan_.region), tile_, 3, 20))),
          Material::packing, filling);
    for (const int side : {1, -1}) {
      const auto at = [&](double x, double y, double z) { return Vec3(side * x, y, z); };
      const ShapePtr column = tube({{at(52, 20, 112), 22, 23}, {at(53, 15, 160), 24, 24}, {at(53, 16, 210), 24, 25}, {at(53, 20, 262), 25, 25}, {at(54, 24, 310), 23, 23}}, Vec3::UnitX());
      if (!plan_.filled) add(common(rough(column, tile_, 2.2, 14), room), Material::packing, filling);
      out_.points[side > 0 ? "packing_left" : "packing_right"] = at(53, 16, 205);
    }
  }

  // What lies along the spine and parts left from right.
  void back_muscle(const Texture& t) {
    std::vector<TubePoint> points;
    for (double z = 30; z <= 440; z += 41)
      points.push_back({spine_at(z) + Vec3(0, 16, 0), z < 240 ? 29.0 : 26.0, 30});
    add(common(rough(tube(points, Vec3::UnitX()), tile_, 1.5, 12), swollen(skin_, plan_.living ? -11 : -2.2, tile_, 0.5, 30)), Material::body, t);
  }

  void membranes(const ShapePtr& room) {
    const Texture sheet = texture::dried_organ();
    add(common(rough(block(Vec3(0, -20, 190), Vec3(1.4, 44, 110)), tile_, 1.5, 20), room), Material::body, sheet);
    add(common(rough(shell(ellipsoid(Vec3(0, 0, 215), Vec3(110, 75, 95)), 3), tile_, 2, 22),
               common(room, half_space(Vec3(0, 0, 258), Vec3(0, 0.35, -1), plan_.region))),
        Material::body, sheet);
    add(common(rough(ellipsoid(Vec3(10, -22, 335), Vec3(22, 20, 42)), tile_, 3, 14), room), Material::body, sheet);
    for (const int side : {1, -1})
      add(common(rough(ellipsoid(Vec3(side * 58.0, 34, 372), Vec3(26, 10, 42)), tile_, 3, 12), room), Material::body, sheet);
    add(common(rough(ellipsoid(Vec3(-62, -6, 232), Vec3(24, 14, 10)), tile_, 2, 10), room), Material::body, sheet);
  }

  void fill_living() {
    add(skin_, Material::body, texture::skin());
    add(swollen(skin_, -1.6, tile_, 0, 50), Material::body, texture::fat());
    add(swollen(skin_, -11, tile_, 2, 50), Material::body, texture::muscle());
    const auto room = std::make_shared<Loft>(cavity());
    add(grown(room, -1), Material::body, texture::fat());
    for (const int side : {1, -1})
      add(common(grown(room, -2), ellipsoid(Vec3(side * 52.0, 2, 318), Vec3(43, 58, 112))), Material::air, texture::lung());
    add(ellipsoid(Vec3(14, -20, 320), Vec3(38, 32, 50)), Material::body, texture::muscle());
    add(common(room, ellipsoid(Vec3(-42, -4, 228), Vec3(52, 46, 40))), Material::body, texture::muscle());
    for (double z = 70; z < 200; z += 26)
      add(common(room, ellipsoid(Vec3(z > 130 ? 30 : -26, -14, z), Vec3(38, 22, 15))), Material::body, texture::muscle());
    for (const int side : {1, -1}) {
      add(ellipsoid(Vec3(side * 52.0, 28, 190), Vec3(20, 18, 40)), Material::body, texture::muscle());
      add(tube({{Vec3(0, -10, 366), 5, 5}, {Vec3(side * 48.0, 0, 330), 5, 5}}, Vec3::UnitY()), Material::air, texture::air());
    }
    add(tube({{Vec3(0, -10, 366), 8, 7}, {Vec3(0, -12, 440), 8, 7}, {Vec3(0, -24, 520), 8, 7}, {Vec3(0, -60, 556), 8, 7}}, Vec3::UnitX()), Material::air, texture::air());
    back_muscle(texture::muscle());
  }

  void add_bones() {
    append(out_.parts, spine_bones());
    append(out_.parts, rib_cage(dried_torso()));
    append(out_.parts, shoulder_bones());
    append(out_.parts, pelvis_bones());
    append(out_.parts, leg_bones());
    for (const int side : {-1, 1}) append(out_.parts, arm_bones(side, plan_.arms_crossed));
    const Move head = head_move(plan_.head_scale);
    append(out_.parts, moved(skull_bones(), head));
    const ShapePtr room = moved(skull_room(), head);
    if (plan_.living) {
      add(room, Material::body, texture::brain());
      for (const int side : {1, -1})
        add(moved(ellipsoid(Vec3(side * 32.0, -67, -21), Vec3(18, 25, 16.5)), head), Material::body, texture::fat());
      return;
    }
    // Shrunken membranes, and resin that ran to the back of a head lying on it.
    add(common(rough(shell(grown(room, -4), 1.5), tile_, 1.5, 10), half_space(head.apply(Vec3(0, 30, 0)), Vec3(0, -1, 0.3), plan_.region)), Material::body, texture::dried_organ());
    if (!plan_.resin) return;
    const Vec3 level = head.apply(Vec3(0, 40, 0));
    add(common(room, half_space(level, Vec3(0, -1, 0.12), plan_.region)), Material::resin, texture::resin());
    out_.points["resin_skull"] = head.apply(Vec3(0, 62, -4));
  }

  void add_finds() {
    if (plan_.opening != Opening::none) {
      const double out_to = plan_.opening == Opening::torn ? 148 : 118;
      const Vec3 inner(80, -19, 140), outer(out_to, -36, 140);
      add(stretch({inner, 25, 8}, {outer, 25, 8}, Vec3::UnitZ()), Material::air, texture::air());
      out_.points["opening"] = Vec3(102, -24, 140);
      out_.points["opening_inside"] = inner;
    }
    if (plan_.amulet) {
      const Vec3 heart(46, -66, 290), throat(0, -60, 412);
      add(ellipsoid(heart, Vec3(10, 4.5, 14)), Material::dense, texture::faience());
      add(ellipsoid(throat, Vec3(4, 3, 5)), Material::dense, texture::metal());
      out_.points["amulet"] = heart;
      out_.points["bead"] = throat;
    }
  }

  const HumanPlan& plan_;
  std::shared_ptr<const NoiseTile> tile_;
  ShapePtr skin_;
  Human out_;
};

}  // namespace

Human make_human(const HumanPlan& plan) { return Builder(plan).build(); }

}  // namespace leastharm::phantom
