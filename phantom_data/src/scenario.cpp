#include "scenario.h"

#include <utility>

#include "human.h"
#include "pieces.h"
#include "surroundings.h"

namespace leastharm::phantom {
namespace {

enum class Support { board, coffin, table };

// What is done with a whole body before it is laid down.
struct Treatment {
  Support support = Support::board;
  double scale = 1;
  std::function<void(Human&, std::uint64_t seed)> damage = nullptr;
};

Parts supported(Support kind, const Human& human, const Box& region) {
  const double top = lowest_y(*human.outside, region) - 1;
  switch (kind) {
    case Support::coffin:
      return coffin({{-172, -150, -900}, {172, top, 712}}, 20);
    case Support::table:
      return table(region, top);
    case Support::board:
      break;
  }
  return board(region, top, 150, 18);
}

Scene human_scene(const BuildRequest& request, HumanPlan plan, const Treatment& treatment) {
  const Move move{.turn = request.turn, .scale = treatment.scale};
  const Move back{.turn = request.turn.transpose(), .scale = 1 / treatment.scale};
  plan.region = back.apply(request.region).grown(treatment.damage ? 80 : 5).within(kWholeHuman);
  plan.seed = request.seed;
  plan.threads = request.threads;
  Human human = make_human(plan);
  if (treatment.damage) treatment.damage(human, request.seed);

  Scene scene;
  human.outside = moved(human.outside, move);
  scene.parts = supported(treatment.support, human, request.region);
  append(scene.parts, moved(human.parts, move));
  for (const Vec3& p : human.midline) scene.midline.push_back(move.apply(p));
  for (const auto& [name, p] : human.points) scene.points[name] = move.apply(p);
  return scene;
}

void lose_the_head(Human& human, std::uint64_t seed) {
  break_apart(human, 486, {.turn = turn_deg({6, 0, 14}), .shift = Vec3(14, 0, 42)}, seed);
  lose(human, Vec3(-140, -40, 236), Vec3(52, 74, 66), seed);   // right elbow
  lose(human, Vec3(118, -52, 20), Vec3(44, 40, 46), seed);     // a corner of the left hip
}

void part_at_the_waist(Human& human, std::uint64_t seed) {
  break_apart(human, 92, {.turn = turn_deg({0, 0, -5}), .shift = Vec3(-9, 0, 36)}, seed);
}

std::function<Scene(const BuildRequest&)> human(HumanPlan plan, Treatment treatment = {}) {
  return [plan = std::move(plan), treatment = std::move(treatment)](const BuildRequest& request) {
    return human_scene(request, plan, treatment);
  };
}

constexpr auto kCovered = Opening::covered;
const Box& trunk() {
  static const Box box{{-179.2, -165, -66}, {179.2, 115, 702}};
  return box;
}
const Box& wide_trunk() {
  static const Box box{{-212, -170, -66}, {212, 130, 712}};
  return box;
}
const Vec3 kQuick_mm(2.2, 2.2, 3.0);

std::vector<Scenario> make_all() {
  return {
      {"adult", "An adult of about 1.5 m in linen, arms crossed, sawdust packing, on a board. Crown to upper thighs.",
       {1.4, 1.4, 3.0}, trunk(), human({})},
      {"child", "A child of about 0.95 m in thick linen, arms beside the body, whole from crown to feet, on a board.",
       {1.6, 1.6, 2.6}, {{-114, -98, -500}, {114, 90, 452}},
       human({.wrapping_mm = 14, .opening = kCovered, .arms_crossed = false, .head_scale = 1.4}, {.scale = 0.6})},
      {"animal", "A cat in linen, a bundle 0.25 m long, its belly packed, on a small board.", {0.65, 0.65, 0.8},
       {{-42, -46, -36}, {42, 46, 216}}, animal_bundle},
      {"sand-packed", "An adult whose body cavity holds dry sand up to a level.", kQuick_mm, trunk(),
       human({.packing = texture::sand(), .filled = true, .opening = kCovered})},
      {"mud-packed", "An adult packed with dried mud on both sides of the spine.", kQuick_mm, trunk(),
       human({.packing = texture::mud(), .amulet = false})},
      {"unpacked", "An adult with empty cavities and no resin.", kQuick_mm, trunk(),
       human({.packing = std::nullopt, .opening = kCovered, .resin = false})},
      {"unwrapped", "An adult without wrapping, packed with sawdust.", kQuick_mm, trunk(),
       human({.wrapped = false, .amulet = false})},
      {"loose-wrapping", "An adult in linen that stands off the body in folds.", kQuick_mm,
       {{-190, -180, -66}, {190, 120, 712}},
       human({.air_fold_mm = 8, .opening = kCovered, .arms_crossed = false})},
      {"no-opening", "An adult whose flank was never opened; packed from below.", kQuick_mm, trunk(),
       human({.opening = Opening::none})},
      {"broken", "An adult in pieces: the head off, an elbow and a corner of the hip lost.", kQuick_mm,
       {{-190, -170, -66}, {190, 120, 760}},
       human({.opening = kCovered, .resin = false}, {.damage = lose_the_head})},
      {"two-pieces", "An adult broken at the waist, the halves laid a hand's breadth apart.", kQuick_mm,
       {{-190, -165, -66}, {190, 115, 742}}, human({.opening = kCovered}, {.damage = part_at_the_waist})},
      {"coffin", "An adult in a wooden coffin with its lid on.", {2.4, 2.4, 3.2}, wide_trunk(),
       human({.opening = kCovered}, {.support = Support::coffin})},
      {"table", "An adult on a scanner's curved table.", {2.4, 2.4, 3.2}, wide_trunk(),
       human({.opening = kCovered}, {.support = Support::table})},
      {"living-plastic", "A body as in life, unwrapped: skin, fat, muscle, lungs with their airways, on a scanner's table.",
       {2.4, 2.4, 3.2}, wide_trunk(),
       human({.wrapped = false, .packing = std::nullopt, .opening = Opening::none, .amulet = false, .resin = false,
              .living = true, .arms_crossed = false}, {.support = Support::table})},
      {"prone-feet-first", "The adult lying on its front, feet towards the gantry.", kQuick_mm, trunk(),
       human({.opening = kCovered}), 20, {0, 0, 0}, true, true},
      {"oblique", "The adult in a grid that is turned about all three axes.", {2.8, 2.8, 3.2}, trunk(),
       human({.opening = kCovered}), 20, {5, -4, 8}},
  };
}

}  // namespace

const std::vector<Scenario>& all_scenarios() {
  static const std::vector<Scenario> scenarios = make_all();
  return scenarios;
}

}  // namespace leastharm::phantom
