// The day's card against closed forms, on an oblique grid with unequal spacing.
#include "planner/day_card.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "imaging/error.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using testing::HasSubstr;

constexpr double kRadians = std::numbers::pi / 180;

struct CardWorld {
  Grid grid = test::oblique_grid(120, 100, 60);
  std::vector<std::int16_t> hu = std::vector<std::int16_t>(grid.voxel_count(), -1000);
  std::vector<std::uint8_t> materials = std::vector<std::uint8_t>(grid.voxel_count(), 0);
  Body body{.grid = grid,
            .hu = hu,
            .materials = materials,
            .confidence = materials,
            .marks = {},
            .frame = {},
            .scan = {}};

  /// A track from a continuous index, `in_plane` from the rows' direction toward the columns',
  /// `out` of the plane.
  [[nodiscard]] TrackAssessment track(const std::string& id, const Vec3& index, double in_plane_deg,
                                      double out_deg, double depth_mm) const {
    const double a = in_plane_deg * kRadians, b = out_deg * kRadians;
    const Vec3 axis =
        grid.direction * Vec3(std::cos(b) * std::sin(a), std::cos(b) * std::cos(a), std::sin(b));
    TrackAssessment t;
    t.track.id = id;
    t.track.needle = needle_catalogue().front();
    t.track.entry_lps_mm = grid.lps_from_index(index);
    t.track.tip_lps_mm = t.track.entry_lps_mm + depth_mm * axis;
    t.admissible = true;
    return t;
  }
};

TEST(DayCard, AnglesAndDepthAreThoseOfTheClosedForm) {
  const CardWorld world;
  for (const double in_plane : {-170.0, -35.0, 0.0, 12.5, 90.0})
    for (const double out : {-28.0, 0.0, 7.5}) {
      const auto card = make_day_card(
          world.body, {{world.track("T", {40, 20, 30}, in_plane, out, 43.7)}, {}}, {}, {});
      const CardTrack& c = card.tracks.front();
      EXPECT_NEAR(c.in_plane_deg, in_plane, 1e-6);
      EXPECT_NEAR(c.out_of_plane_deg, out, 1e-6);
      EXPECT_NEAR(c.depth_mm, 43.7, 1e-6);
      EXPECT_NEAR(c.stop_mm, c.needle.usable_mm - 43.7 - c.needle.dead_tip_mm, 1e-6);
    }
}

TEST(DayCard, SaysWhereTheEntryLiesFromTheCtsOwnZeroLines) {
  CardWorld world;
  const auto offsets = [&](const Mat3& direction) {
    world.grid.direction = direction;
    world.body.grid = world.grid;
    TrackAssessment t = world.track("T", {89.5, 29.5, 17}, 0, 0, 30);
    t.track.tip_lps_mm += Vec3(31, -47, 0) - t.track.entry_lps_mm;
    t.track.entry_lps_mm.head<2>() = Vec3(31, -47, 0).head<2>();
    return make_day_card(world.body, {{t}, {}}, {}, {});
  };
  // Whatever the field of view: 31 mm from x = 0, 47 mm from y = 0.
  EXPECT_NEAR(offsets(Mat3::Identity()).tracks[0].right_mm, 31, 1e-6);
  EXPECT_NEAR(offsets(Mat3::Identity()).tracks[0].down_mm, -47, 1e-6);
  EXPECT_EQ(offsets(Mat3::Identity()).tracks[0].slice, 18);  // counted from 1
  // A picture that shows the other way round.
  const DayCard turned = offsets(Vec3(-1, -1, 1).asDiagonal());
  EXPECT_NEAR(turned.tracks[0].right_mm, -31, 1e-6);
  EXPECT_NEAR(turned.tracks[0].down_mm, 47, 1e-6);
  const Vec3 middle = world.grid.lps_from_index({59.5, 49.5, 29.5});
  EXPECT_LT((turned.picture_middle_lps_mm - middle).norm(), 1e-9);
}

TEST(DayCard, IsRefusedWhereSlicesAreNotAxial) {
  CardWorld world;
  Mat3 coronal;
  coronal << 1, 0, 0, 0, 0, 1, 0, -1, 0;
  world.body.grid.direction = coronal;
  EXPECT_THROW(static_cast<void>(make_day_card(world.body, {{world.track("T", {40, 20, 30}, 0, 0, 30)}, {}}, {}, {})), BadInput);
}

TEST(DayCard, TakesTheCleanestFirstThenTheLeastHarm) {
  const CardWorld world;
  auto foul = world.track("foul", {40, 20, 20}, 0, 0, 30),
       harsh = world.track("harsh", {40, 20, 30}, 0, 0, 30),
       mild = world.track("mild", {40, 20, 40}, 0, 0, 30);
  foul.core.foreign_fraction = 0.2, foul.damage.score = 1;
  harsh.damage.score = 9, mild.damage.score = 3;
  const auto card =
      make_day_card(world.body, {{foul, harsh, mild}, {}}, {1, 2, 3}, {.placement_mm = 2.5});
  EXPECT_EQ(card.tracks[0].id, "mild");
  EXPECT_EQ(card.tracks[1].id, "harsh");
  EXPECT_EQ(card.tracks[2].id, "foul");
  EXPECT_EQ(card.tracks[2].order, 3);
  EXPECT_EQ(card.tracks[0].error_p95_mm, 3);  // its own error went with it
  EXPECT_EQ(card.tracks[0].placement_mm, 2.5);
}

TEST(DayCard, HaltsAtHalfDepthAndTenMillimetresBeforeEachKeepOut) {
  CardWorld world;
  const TrackAssessment t = world.track("T", {60, 10, 30}, 0, 0, 60);
  const Vec3 axis = (t.track.tip_lps_mm - t.track.entry_lps_mm) / 60;
  const Vec3 beside = t.track.entry_lps_mm + 45 * axis + 9 * world.grid.direction.col(0);
  const Vec3 far = t.track.entry_lps_mm + 45 * axis - 38 * world.grid.direction.col(0);
  world.body.marks = {{"dense-1", MarkKind::keep_out, 0, true, ball_mask(world.grid, beside, 2.5)},
                      {"dense-2", MarkKind::keep_out, 0, true, ball_mask(world.grid, far, 2.5)},
                      {"packing", MarkKind::cavity, 0, false, ball_mask(world.grid, beside, 4)}};
  const auto halts = make_day_card(world.body, {{t}, {}}, {}, {}).tracks.front().halts;
  ASSERT_EQ(halts.size(), 2u);
  EXPECT_NEAR(halts[0].depth_mm, 30, 1e-6);
  EXPECT_NEAR(halts[1].depth_mm, 35, 1.0);  // within a voxel
  EXPECT_THAT(halts[1].why, HasSubstr("10 mm before dense-1"));
}

TEST(DayCard, SurvivesItsFile) {
  const CardWorld world;
  const auto card =
      make_day_card(world.body, {{world.track("T", {40, 20, 30}, 33, -5, 43.7)}, {}}, {1.2}, {});
  EXPECT_EQ(to_json(parse_day_card(to_json(card))), to_json(card));
}

}  // namespace
}  // namespace leastharm
