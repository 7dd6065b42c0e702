// The search's quick chance of enough, beside what full draws say.
#include "line_chances.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "planner/assessor.h"
#include "search_dense.h"
#include "support/made_world.h"

namespace leastharm {
namespace {

TEST(LineChances, AreThoseOfFullDraws) {
  test::MadeWorld world;
  world.file.requests = {test::packing_request(5)};
  const Assessor assessor(world.body, world.file);
  const SearchScene scene(world.body, world.file);
  std::vector<Route> routes = thinned(dense_search(scene, 0, RouteLimits(world.file.limits), {12, 15}), 10, 20, 40);
  ASSERT_GT(routes.size(), 30u);
  std::mt19937 random(2);
  std::uniform_real_distribution<double> deeper(0, 8);
  double square = 0;
  for (Route& route : routes) {
    const double first = route.depth_mm;
    route.depth_mm += deeper(random);
    const double drawn = assessor.assess_track(track_of(scene, route)).core.p_enough.value_or(0);
    const double quick = LineChances(scene, route, first).at(route.depth_mm);
    EXPECT_NEAR(quick, drawn, 0.04) << "depth " << route.depth_mm;
    EXPECT_NEAR(quick, estimated_p_enough(scene, route), 0.01);   // wherever its steps begin
    square += (quick - drawn) * (quick - drawn) / static_cast<double>(routes.size());
  }
  EXPECT_LT(std::sqrt(square), 0.015);
}

}  // namespace
}  // namespace leastharm
