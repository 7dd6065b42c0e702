#include "drawn_plan.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <sstream>

namespace leastharm::test {
namespace {

class Dice {
 public:
  explicit Dice(unsigned seed) : engine_(seed * 7919U + 17U) {}
  double between(double low, double high) { return low + (high - low) * (static_cast<double>(engine_()) / 4294967296.0); }
  bool chance(double p) { return between(0, 1) < p; }
  int one_of(int count) { return std::min(count - 1, static_cast<int>(between(0, count))); }

 private:
  std::mt19937 engine_;
};

Mat3 turned(double x_deg, double y_deg, double z_deg) {
  const double d = std::numbers::pi / 180;
  return (Eigen::AngleAxisd(z_deg * d, Vec3::UnitZ()) * Eigen::AngleAxisd(y_deg * d, Vec3::UnitY()) *
          Eigen::AngleAxisd(x_deg * d, Vec3::UnitX())).toRotationMatrix();
}

Plan first_plan(Dice& dice, double coarser) {
  Plan p;
  const int build = dice.one_of(4);   // two adults, a child, a small one
  p.scale = build < 2 ? dice.between(0.9, 1.1) : build == 2 ? dice.between(0.45, 0.65) : dice.between(0.18, 0.3);
  p.low_z = build < 2 ? dice.between(-320, -120) : -780;
  p.living = dice.chance(0.12);
  p.wrapped = !p.living && dice.chance(0.8);
  p.wrapping_mm = dice.chance(0.5) ? dice.between(4, 12) : dice.between(12, 40);
  p.wrapping_mm = std::max(p.wrapping_mm, 2.2 / p.scale);
  p.fold_mm = dice.chance(0.3) ? dice.between(4, 12) : 0;
  p.snug_mm = dice.between(5, 70);
  p.opening = !p.living && dice.chance(0.5);
  p.arms_crossed = dice.chance(0.5);
  p.resin = !p.living && dice.chance(0.35);
  p.amulet = p.wrapped && dice.chance(0.4);
  p.brain = p.living || dice.chance(0.4);
  p.filling = p.living ? Filling::none : static_cast<Filling>(dice.one_of(3));
  const bool mineral = dice.chance(0.35);
  p.filling_hu = mineral ? dice.between(250, 850) : dice.between(-870, -520);
  p.filling_grain_hu = mineral ? dice.between(10, 60) : dice.between(10, 80);
  p.linen_hu = dice.between(-800, -550);
  p.layers_hu = dice.between(0, 90);
  p.tissue_hu = p.living ? 50 : dice.between(-60, 170);
  p.tissue_broad_hu = p.living ? 8 : dice.chance(0.4) ? 0 : dice.between(20, 90);
  p.cortex_hu = dice.between(850, 1400);
  p.spongy_hu = dice.between(180, 420);
  p.resin_hu = dice.between(-60, 60);
  p.find_hu = dice.between(1500, 3200);
  p.wall_mm = dice.between(6, 16);
  p.ground = static_cast<Ground>(dice.one_of(4));
  p.wood_hu = dice.between(-620, -420);
  p.ground_mm = dice.between(10, 30);
  p.ground_tilt = dice.chance(0.4) ? dice.between(-0.1, 0.1) : 0;
  const int posture = dice.one_of(4);
  p.turn = turned(dice.chance(0.3) ? dice.between(-7, 7) : 0, (dice.chance(0.4) ? 180 : 0) + (dice.chance(0.3) ? dice.between(-7, 7) : 0),
                  (posture == 1 ? 180 : posture == 2 ? 90 : 0) + dice.between(-6, 6));
  const double fine = build < 2 ? dice.between(1.9, 3) : build == 2 ? dice.between(1.2, 1.9) : dice.between(0.5, 0.85);
  p.spacing_mm = coarser * fine * Vec3(1, 1, dice.between(1, 1.8));
  p.noise_hu = dice.between(10, 45);
  p.blur = dice.between(0, 0.2);
  p.margin_mm = dice.chance(0.15) ? dice.between(-12, 0) : dice.between(3, 60);
  p.hu_offset = dice.chance(0.3) ? dice.between(-15, 15) : 0;
  p.hu_scale = dice.between(0.97, 1.03);
  p.corner_hu = dice.chance(0.25) ? (dice.chance(0.5) ? -1024 : kNoReadingHu) : 0;
  for (double& phase : p.phase) phase = dice.between(0, 6);
  return p;
}

/// What numbers over 200 have besides.
void widen(Dice& dice, double coarser, Plan& p) {
  const bool adult = p.scale > 0.8, child = !adult && p.scale > 0.4;
  p.noise_hu = dice.between(10, 60);
  p.blur = dice.between(-0.1, 0.2);
  p.hu_offset = dice.chance(0.5) ? dice.between(-20, 20) : 0;
  const double fine = adult ? dice.between(1.7, 3) : child ? dice.between(1.1, 2) : dice.between(0.45, 0.85);
  p.spacing_mm = coarser * fine * Vec3(1, 1, dice.between(adult ? 0.6 : 1, 1.8));
  if (dice.chance(0.3)) p.turn = turned(dice.between(-12, 12), dice.between(-12, 12), dice.between(0, 360)) * p.turn;
  const int part = dice.one_of(6);   // most are as they were
  if (part == 0) p.low_z = -120, p.high_z = 430;
  if (part == 1 && !p.living) p.low_z = 300;
  if (!p.living && dice.chance(0.2)) p.gap_mm = dice.between(8, 40), p.gap_z = dice.between(60, 420);
  if (!p.living && dice.chance(0.25)) p.filling = Filling::full;
  p.organs = !p.living && p.filling != Filling::full && dice.chance(0.4);
  p.skull_linen = !p.living && dice.chance(0.2);
  p.resin = !p.living && dice.chance(0.5);
  p.lying_pools = true;
  p.resin_hu = dice.between(-80, 70);
  p.brain = p.living || (dice.chance(0.4) && !p.resin && !p.skull_linen);
  p.skull_linen = p.skull_linen && !p.resin;
  if (!p.living && dice.chance(0.3)) p.tissue_broad_hu = p.layers_hu = p.filling_grain_hu = 0;
  if (dice.chance(0.25)) p.tissue_hu = p.living ? p.tissue_hu : dice.between(20, 60);
}

}  // namespace

Plan drawn_plan(unsigned seed, double coarser) {
  Dice dice(seed);
  Plan plan = first_plan(dice, coarser);
  if (seed > 200) widen(dice, coarser, plan);
  return plan;
}

std::string described(const Plan& p) {
  constexpr const char* kGrounds[] = {"no support", "board", "table", "coffin"};
  std::ostringstream text;
  text.precision(2);
  text << (p.living ? "living" : p.scale > 0.8 ? "adult" : p.scale > 0.4 ? "child" : "small") << ", ";
  if (p.wrapped) text << "linen " << p.wrapping_mm * p.scale << " mm" << (p.fold_mm > 0 ? " with folds" : "") << ", ";
  if (p.filling != Filling::none) text << "filled at " << std::lround(p.filling_hu) << " HU, ";
  text << (p.opening ? "opened, " : "") << (p.resin ? "resin " + std::to_string(std::lround(p.resin_hu)) + " HU, " : "") << "tissue " << std::lround(p.tissue_hu) << " ± "
       << std::lround(p.tissue_broad_hu) << " HU, " << kGrounds[static_cast<int>(p.ground)] << ", noise " << std::lround(p.noise_hu)
       << " HU, voxel " << p.spacing_mm.x() << " × " << p.spacing_mm.z() << " mm"
       << (p.low_z > 0 || p.high_z < 700 ? ", a part" : "") << (p.gap_mm > 0 ? ", broken" : "") << (p.organs ? ", organs" : "")
       << (p.skull_linen ? ", linen in the skull" : "") << (p.brain ? ", brain" : "") << (p.blur < 0 ? ", sharpened" : "")
       << (p.margin_mm < 0 ? ", cut at the sides" : "") << (p.corner_hu ? ", round field" : "");
  return text.str();
}

}  // namespace leastharm::test
