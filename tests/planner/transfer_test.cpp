// A plan carried into another frame: what must stay the same under a rigid move, and what is
// refused.
#include "planner/transfer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "imaging/error.h"
#include "support/test_body.h"

namespace leastharm {
namespace {

using nlohmann::json;
using test::grid_about;
using test::pose;
using test::Scan;
using test::scan_of;
using testing::HasSubstr;

template <typename Fault>
std::string message_of(const std::function<void()>& call) {
  try {
    call();
  } catch (const Fault& fault) {
    return fault.what();
  }
  return "";
}

const RigidTransform kPlanned = pose({0.2, 1, 0.1}, 4, {13, -220, 610});
const RigidTransform kDay = pose({0.3, 1, 0.5}, 7, {53, -220, 600});

RigidTransform day_from_planning() {
  const RigidTransform back = kPlanned.inverse();
  return {kDay.rotation * back.rotation, kDay.rotation * back.translation_mm + kDay.translation_mm};
}

std::unique_ptr<OpenedCase> planning_case() {
  Scan scan = scan_of({}, kPlanned, grid_about(kPlanned, {2.4, 2.4, 3}), 20, 1);
  auto opened = std::make_unique<OpenedCase>();
  opened->ct.hu = std::move(scan.hu);
  opened->materials = std::move(scan.materials);
  opened->confidence = {opened->ct.hu.grid,
                        std::vector<std::uint8_t>(opened->ct.hu.values.size(), 200)};
  Body& body = opened->body;
  body.grid = opened->ct.hu.grid;
  body.hu = opened->ct.hu.values, body.materials = opened->materials.values,
  body.confidence = opened->confidence.values;
  body.marks = {
      {"ball", MarkKind::keep_out, 0, false,
       ball_mask(body.grid, kPlanned.apply({22, -6, 10}), 12)},
      {"feet", MarkKind::zone, 3, false, ball_mask(body.grid, kPlanned.apply({0, 0, -140}), 8)}};
  BodyFrame frame;
  frame.midline_lps_mm = {kPlanned.apply({0, 30, -100}), kPlanned.apply({0, 30, 120})};
  body.frame = frame;
  return opened;
}

TEST(CarriedBody, HoldsTheSameMaterialsInTheSamePlaces) {
  const auto planning = planning_case();
  Scan day = scan_of({}, kDay, grid_about(kDay, {2, 2, 2.8}), 20, 2);
  CtVolume ct;
  ct.hu = day.hu;
  const auto carried = carried_body(*planning, std::move(ct), day_from_planning());
  std::size_t same = 0, object = 0;
  for (std::size_t n = 0; n < day.materials.values.size(); ++n) {
    const auto truth = static_cast<Material>(day.materials.values[n]);
    if (truth == Material::air) continue;
    ++object;
    same += carried->materials.values[n] == day.materials.values[n];
  }
  // What is left are voxels that a border runs through.
  EXPECT_GT(static_cast<double>(same) / static_cast<double>(object), 0.9);
  const Mark* ball = carried->body.find_mark("ball");
  ASSERT_NE(ball, nullptr);
  EXPECT_NEAR(ball->mask.volume_mm3(), planning->body.marks[0].mask.volume_mm3(),
              0.03 * ball->mask.volume_mm3());
  EXPECT_TRUE(ball->mask.contains(carried->body.grid.voxel_at(kDay.apply({22, -6, 10}))));
  EXPECT_LT((carried->body.frame->midline_lps_mm[1] - kDay.apply({0, 30, 120})).norm(), 1e-9);
}

TEST(CarriedBody, LeavesOutMarksThatTheDaysCtDoesNotShow) {
  const auto planning = planning_case();
  Grid part = grid_about(kDay, {3, 3, 3});
  part.origin_lps_mm += part.direction.col(2) * 100;
  part.size[2] -= 100 / 3;
  Scan day = scan_of({}, kDay, part, 20, 3);
  CtVolume ct;
  ct.hu = day.hu;
  const auto carried = carried_body(*planning, std::move(ct), day_from_planning());
  EXPECT_NE(carried->body.find_mark("ball"), nullptr);
  EXPECT_EQ(carried->body.find_mark("feet"), nullptr);
}

TEST(CheckTransfer, NamesWhatIsOverItsLimit) {
  const Grid grid = grid_about(kDay, {3, 3, 3});
  const Track track{"T1", kDay.apply({80, 0, 20}), kDay.apply({20, 10, 20}),
                    needle_catalogue().front(), ""};
  Registration r{.surface = {100, 0.5, 1}, .bone = {100, 0.4, 1}, .target_error_p95_mm = {1.5}};
  check_transfer(r, {track}, grid, {});
  const auto refused = [&](const TransferLimits& limits) {
    return message_of<NoAnswer>([&] { check_transfer(r, {track}, grid, limits); });
  };
  EXPECT_THAT(refused({.error_mm = 1.2}),
              HasSubstr("tip of T1 is 1.5 mm, over the limit of 1.2 mm"));
  r.inner_shift_mm = 5, r.inner_shift_where = "the inside as a whole";
  EXPECT_THAT(refused({}), HasSubstr("moved against the outside"));
  r.inner_shift_mm = 0, r.bone.mean_mm = 3.4;
  EXPECT_THAT(refused({}), HasSubstr("bones is 3.4 mm"));
  EXPECT_EQ(refused({.error_mm = 4}), "");
  Track outside = track;
  outside.entry_lps_mm.x() += 2000;
  r.bone.mean_mm = 0;
  EXPECT_THAT(message_of<BadInput>([&] { check_transfer(r, {outside}, grid, {}); }),
              HasSubstr("does not show the entry of track T1"));
}

TEST(Fiducials, AreReadWithTheirNamesAndFrames) {
  const json file = json::parse(R"({"day_frame_of_reference_uid": "1.2", "fiducials": [
    {"name": "a", "planning_lps_mm": [1, 2, 3], "day_lps_mm": [4, 5, 6]}, {"planning_lps_mm": [1, 2, 3], "day_lps_mm": [4, 5, 6]}]})");
  const auto pairs = parse_fiducials(file, "", "1.2");
  ASSERT_EQ(pairs.size(), 2u);
  EXPECT_EQ(pairs[0].name, "a");
  EXPECT_EQ(pairs[1].name, "F2");
  EXPECT_EQ(pairs[0].day_lps_mm, Vec3(4, 5, 6));
  EXPECT_THAT(message_of<BadInput>([&] { (void)parse_fiducials(file, "", "9.9"); }),
              HasSubstr("another scan"));
  EXPECT_THAT(message_of<BadInput>([&] {
                (void)parse_fiducials(
                    json::parse(R"({"fiducials": [{"name": "a", "planning_lps_mm": [1, 2],
    "day_lps_mm": [1, 2, 3]}]})"),
                    "", "");
              }),
              HasSubstr("fiducials[0].planning_lps_mm"));
}

}  // namespace
}  // namespace leastharm
