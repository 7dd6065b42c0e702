// A needle in an invented body, and the channel it left, against where they were put.
#include "imaging/needle_trace.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "imaging/error.h"
#include "support/test_body.h"

namespace leastharm {
namespace {

using test::grid_about;
using test::pose;
using test::put_cylinder;
using test::Scan;
using test::scan_of;

const RigidTransform kPlanned = pose({0.2, 1, 0.1}, 4, {13, -220, 610});
const RigidTransform kDay = pose({0.3, 1, 0.5}, 7, {53, -220, 600});
// From the left flank into the packing, in the body's own coordinates.
const Vec3 kEntry(88, 10, 20), kTip(20, 14, 24);

class NeedleTraceTest : public testing::Test {
 protected:
  NeedleTraceTest()
      : planned(scan_of({}, kPlanned, grid_about(kPlanned, {2, 2, 2.5}), 20, 1)),
        day(scan_of({}, kDay, grid_about(kDay, {1.4, 1.4, 2.0}), 20, 2)) {}
  [[nodiscard]] NeedleTrace find(const Vec3& entry, const Vec3& tip) const {
    return find_needle(day.hu, planned.hu,
                       {kPlanned.rotation * kDay.rotation.transpose(),
                        kPlanned.translation_mm -
                            kPlanned.rotation * (kDay.rotation.transpose() * kDay.translation_mm)},
                       kDay.apply(entry), kDay.apply(tip));
  }
  static double angle_deg(const NeedleTrace& trace, const Vec3& from, const Vec3& to) {
    const Vec3 a = (trace.tip_lps_mm - trace.outer_lps_mm).normalized(),
               b = kDay.rotation * (to - from).normalized();
    return std::atan2(a.cross(b).norm(), a.dot(b)) * 180 / std::numbers::pi;
  }
  Scan planned, day;
};

TEST_F(NeedleTraceTest, OfSteelIsFoundWhereItLies) {
  put_cylinder(day.hu, kDay.apply(kEntry + 0.5 * (kEntry - kTip)), kDay.apply(kTip), 2.1, 1.7,
               9000);
  const Vec3 planned_tip = kTip + Vec3(3, -5, 4),
             planned_entry = kEntry + Vec3(0, 4, -3);  // it went in elsewhere
  const NeedleTrace found = find(planned_entry, planned_tip);
  EXPECT_EQ(found.seen, "needle");
  EXPECT_LT((found.tip_lps_mm - kDay.apply(kTip)).norm(), 1.0);
  EXPECT_LT(angle_deg(found, kEntry, kTip), 0.5);
  const Vec3 axis = kDay.rotation * (kTip - kEntry).normalized();
  EXPECT_LT((found.tip_lps_mm - kDay.apply(kTip)).cross(axis).norm(), 0.5);
  EXPECT_LT(found.off_axis_mm, 3);
}

TEST_F(NeedleTraceTest, OfAnEmptyChannelIsFoundWhereItWas) {
  put_cylinder(day.hu, kDay.apply(kEntry), kDay.apply(kTip), 2.1, 0, -1000);
  const NeedleTrace found = find(kEntry + Vec3(0, 2, 1), kTip + Vec3(1, -2, 2));
  EXPECT_EQ(found.seen, "channel");
  EXPECT_LT(angle_deg(found, kEntry, kTip), 1.0);
  const Vec3 axis = kDay.rotation * (kTip - kEntry).normalized();
  EXPECT_LT((found.tip_lps_mm - kDay.apply(kTip)).cross(axis).norm(), 1.0);
}

TEST_F(NeedleTraceTest, IsNotInventedWhereNothingIs) {
  EXPECT_THROW((void)find(kEntry, kTip), BadInput);
}

}  // namespace
}  // namespace leastharm
