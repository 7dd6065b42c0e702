// The outer surface as the bound's sweeps see it, against what `assess` takes for a track's entry.
#include "entry_patches.h"

#include <gtest/gtest.h>

#include <numbers>
#include <random>

#include "planner/crossing.h"
#include "planner/cylinder.h"
#include "planner/entry.h"
#include "support/made_world.h"

namespace leastharm {
namespace {

struct World : test::MadeWorld {
  std::unique_ptr<SearchScene> scene;
  std::unique_ptr<EntryPatches> patches;
  World() {
    file.requests = {test::packing_request(5)};
    scene = std::make_unique<SearchScene>(body, file);
    patches = std::make_unique<EntryPatches>(*scene);
  }
};

/// Entries of random tracks, with the direction of each.
std::vector<std::pair<EntrySite, Vec3>> random_entries(const World& world, int count) {
  std::mt19937 random(8);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> even(0, 1);
  std::vector<std::pair<EntrySite, Vec3>> entries;
  while (static_cast<int>(entries.size()) < count) {
    const EntryVoxel& e = world.scene->entries()[static_cast<std::size_t>(even(random) * static_cast<double>(world.scene->entries().size()))];
    const Vec3 direction = (-e.outward + 0.4 * Vec3(normal(random), normal(random), normal(random))).normalized();
    const Vec3 near = e.point + 1.5 * Vec3(normal(random), normal(random), normal(random));
    const auto site = find_entry(world.body, world.scene->frame().lps(near - 15 * direction), world.scene->frame().lps(near + 30 * direction));
    if (!site || site->given_inside || site->behind_support) continue;
    const bool from_outside = world.scene->is_outside(world.scene->frame().voxel(world.scene->frame().point(site->point_lps_mm) - 1e-4 * direction));
    if (from_outside) entries.emplace_back(*site, direction);
  }
  return entries;
}

TEST(EntryPatches, HoldEveryEntryAndItsNormal) {
  const World world;
  const std::array<Vec3, 3> axes{Vec3::UnitX(), Vec3::UnitY(), Vec3::UnitZ()};
  double farthest_deg = 0;
  for (const auto& [site, direction] : random_entries(world, 3000)) {
    const Vec3 p = world.scene->in_box(world.scene->frame().point(site.point_lps_mm));
    const Eigen::Vector3f inward = -world.scene->frame().direction(site.outward).cast<float>();
    int holding = 0;
    double beyond_deg = 180;
    world.patches->for_each_near(p, axes, Vec3::Constant(0.01), [&](const EntryPatch& patch) {
      if (((p.cast<float>() - patch.middle).cwiseAbs().array() > patch.half.array() + 1e-3f).any()) return;
      ++holding;
      const auto angle_deg = [](float cosine) { return std::acos(std::clamp(static_cast<double>(cosine), -1.0, 1.0)) * 180 / std::numbers::pi; };
      beyond_deg = std::min(beyond_deg, angle_deg(patch.inward.dot(inward)) - angle_deg(patch.cosine));
    });
    ASSERT_GT(holding, 0) << "at " << p.transpose();
    ASSERT_LT(beyond_deg, EntryPatches::kBeyondConeDeg) << "at " << p.transpose();
    farthest_deg = std::max(farthest_deg, beyond_deg);
  }
  RecordProperty("farthest_deg", std::to_string(farthest_deg));
}

TEST(EntryPatches, AreFoundInABoxWhateverItsAxes) {
  const World world;
  const Vec3 a = Vec3(1, 2, 0.5).normalized(), b = a.cross(Vec3::UnitZ()).normalized();
  const std::array<Vec3, 3> axes{a, b, a.cross(b)};
  const Vec3 middle = world.patches->all()[world.patches->all().size() / 3].middle.cast<double>(), half(30, 12, 50);
  const auto inside = [&](const EntryPatch& patch) {
    const Vec3 off = patch.middle.cast<double>() - middle;
    return std::abs(off.dot(axes[0])) < half[0] && std::abs(off.dot(axes[1])) < half[1] && std::abs(off.dot(axes[2])) < half[2];
  };
  std::size_t found = 0;
  world.patches->for_each_near(middle, axes, half, [&](const EntryPatch& patch) { found += inside(patch) ? 1 : 0; });
  EXPECT_EQ(found, static_cast<std::size_t>(std::ranges::count_if(world.patches->all(), inside)));
  EXPECT_GT(found, 100u);
}

}  // namespace
}  // namespace leastharm
