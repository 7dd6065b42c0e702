// On a volume so small that all tracks of a fine lattice can be gone through: the bound holds, and comes near.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "candidates.h"
#include "certify.h"
#include "search_dense.h"
#include "support/drawn_back.h"
#include "support/made_world.h"
#include "workers.h"

namespace leastharm {
namespace {

/// A bundle of 44 x 44 x 50 mm: wrapping, under it packing with a bone across, and an oblique slice of tissue on one side.
struct Bundle {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> materials;
  Body body;
  RequestFile file;

  explicit Bundle(const Vec3& spacing_mm) {
    Grid grid;
    grid.spacing_mm = spacing_mm;
    for (std::size_t a = 0; a < 3; ++a) grid.size[a] = static_cast<int>(60 / spacing_mm[static_cast<Eigen::Index>(a)]);
    hu = {grid, std::vector<std::int16_t>(grid.voxel_count(), -1000)};
    materials = {grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
    constexpr std::array<std::int16_t, kMaterialCount> kHu{-1000, -650, 60, -750, 900, 20, 2600, -500};
    for (int k = 0; k < grid.size[2]; ++k)
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i) {
          const Vec3 p = grid.lps_from_index(Vec3(i, j, k)) - Vec3(30, 30, 30);
          const std::size_t n = grid.offset(i, j, k);
          materials.values[n] = static_cast<std::uint8_t>(material_at(p));
          hu.values[n] = kHu[materials.values[n]];
        }
    body.grid = grid;
    body.hu = hu.values;
    body.materials = materials.values;
    file.requests = {test::packing_request(5)};
    file.needles = {{.name = "core", .outer_mm = 3, .bore_mm = 2.4, .throw_mm = 20, .usable_mm = 60}};
  }
  Bundle(const Bundle&) = delete;   // `body` looks at the others
  Bundle& operator=(const Bundle&) = delete;

 private:
  static Material material_at(const Vec3& p) {
    const double across = std::hypot(p.x(), p.y()), side = std::max(across - 22, std::abs(p.z()) - 25);
    if (side > 0) return Material::air;
    if (side > -3) return Material::wrapping;
    if (p.x() + 0.3 * p.z() > 10) return Material::body;
    return std::hypot(p.y() - 4, p.z() + 6) < 5 ? Material::bone : Material::packing;
  }
};

/// Quick figures of the lines through two places on each outer voxel, along directions 7.5 degrees apart.
std::vector<Route> all_routes(const Bundle& bundle, const SearchScene& scene) {
  constexpr double kApart_deg = 7.5;
  const std::vector<Vec3> directions = direction_set(bundle.file.limits.tilt_deg, kApart_deg);
  const RouteLimits limits(bundle.file.limits);
  std::vector<std::vector<Route>> of_entry(scene.entries().size());
  for_each_chunk(of_entry.size(), 16, [&](std::size_t begin, std::size_t end) {
    for (std::size_t n = begin; n < end; ++n) {
      const EntryVoxel& entry = scene.entries()[n];
      for (const Vec3& direction : directions) {
        if (-direction.dot(entry.outward) < std::numbers::sqrt2 / 2) continue;
        for (const double a : {-0.25, 0.25}) {
          const Vec3 place = entry.point + a * bundle.body.grid.spacing_mm.cwiseProduct(direction.cross(Vec3::UnitZ()).normalized() + Vec3::UnitZ());
          const Route route = shallowest_route(scene, 0, limits, place, entry.outward, direction);
          if (std::isfinite(route.score)) of_entry[n].push_back(route);
        }
      }
    }
  });
  std::vector<Route> routes;
  for (const std::vector<Route>& some : of_entry) routes.insert(routes.end(), some.begin(), some.end());
  return routes;
}

class Enumeration : public testing::TestWithParam<Vec3> {};

TEST_P(Enumeration, FindsNoTrackBelowTheBoundAndOneNearIt) {
  const Bundle bundle(GetParam());
  const Assessor assessor(bundle.body, bundle.file);
  const SearchScene scene(bundle.body, bundle.file);
  std::vector<Route> routes = all_routes(bundle, scene);
  ASSERT_GT(routes.size(), 30'000u);
  std::ranges::stable_sort(routes, {}, &Route::score);
  // The quick score is within a few percent of the full one: what is far above the least need not be looked at.
  std::erase_if(routes, [least = routes.front().score](const Route& r) { return r.score > 1.1 * least; });
  routes.resize(std::min<std::size_t>(routes.size(), 100));
  std::vector<double> scores(routes.size(), 1e9);
  for_each_chunk(routes.size(), 1, [&](std::size_t n, std::size_t) {
    TrackAssessment a = assessed(scene, assessor, routes[n], true).assessment;
    if (a.admissible) scores[n] = test::drawn_back(assessor, std::move(a)).damage.score;
  });
  const double least = *std::ranges::min_element(scores);
  ASSERT_LT(least, 1e9);
  SweepGrounds grounds(scene);
  Certification task;
  task.request = &bundle.file.requests[0];
  task.sides = {{0, least}};
  const SideBound bound = certify(grounds, task, 7e8);
  EXPECT_LE(bound.lower_bound, least);
  EXPECT_GE(bound.lower_bound, 0.85 * least);
  RecordProperty("bound", std::to_string(bound.lower_bound / least));
}

INSTANTIATE_TEST_SUITE_P(Voxels, Enumeration, testing::Values(Vec3(1.5, 1.5, 1.5), Vec3(1, 1, 2.5)),
                         [](const auto& of) { return of.index == 0 ? "Even" : "Longer"; });

}  // namespace
}  // namespace leastharm
