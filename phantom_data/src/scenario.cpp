#include "scenario.h"

#include <utility>

#include "human.h"
#include "surroundings.h"

namespace leastharm::phantom {
namespace {

const Box kAdultTrunk{{-179.2, -165, -66}, {179.2, 115, 702}};

Box turned(const Box& box, const Mat3& turn) { return Move{.turn = turn}.apply(box); }

// The body turned as asked; its support not yet there.
Scene lay_down(Human human, const Box& content, const Move& move) {
  Scene scene;
  scene.parts = moved(human.parts, move);
  scene.content = move.apply(content);
  for (const Vec3& p : human.midline) scene.midline.push_back(move.apply(p));
  for (const auto& [name, p] : human.points) scene.points[name] = move.apply(p);
  return scene;
}

Scene adult(const BuildRequest& request, HumanPlan plan) {
  plan.region = kAdultTrunk;
  plan.seed = request.seed;
  plan.threads = request.threads;
  Human human = make_human(plan);
  const Move move{.turn = request.turn};
  const ShapePtr outside = moved(human.outside, move);
  Scene scene = lay_down(std::move(human), kAdultTrunk, move);
  const double top = lowest_y(*outside, turned(kAdultTrunk, request.turn)) - 1;
  Parts parts = board(scene.content, top, 150, 18);
  append(parts, std::move(scene.parts));
  scene.parts = std::move(parts);
  return scene;
}

}  // namespace

const std::vector<Scenario>& all_scenarios() {
  static const std::vector<Scenario> scenarios{
      {.name = "adult",
       .what = "An adult of about 1.5 m, wrapped in linen, arms crossed, on a board; crown to upper thighs.",
       .spacing_mm = {1.4, 1.4, 3.0},
       .build = [](const BuildRequest& request) { return adult(request, HumanPlan{}); }},
  };
  return scenarios;
}

}  // namespace leastharm::phantom
