#include "imaging/body_frame.h"

#include <gtest/gtest.h>

#include <cmath>

#include "imaging/error.h"

namespace leastharm {
namespace {

TEST(BodyFrame, OfASupineHeadFirstBodyPointsLeftWhereLpsDoes) {
  // LPS: +x left, +y back, +z head (DICOM PS3.3 C.7.6.2.1.1).
  const BodyFrame frame = make_body_frame({0, 0, 1}, {0, -1, 0});
  EXPECT_LT((frame.left() - Vec3(1, 0, 0)).norm(), 1e-12);
}

TEST(BodyFrame, OfAProneBodyPointsTheOtherWay) {
  EXPECT_LT((make_body_frame({0, 0, 1}, {0, 1, 0}).left() - Vec3(-1, 0, 0)).norm(), 1e-12);
}

TEST(BodyFrame, ToleratesFiveDegreesAndMakesThemSquare) {
  const double a = 86 * M_PI / 180;
  const BodyFrame frame = make_body_frame({0, 0, 2}, {0, -3 * std::sin(a), 3 * std::cos(a)});
  EXPECT_NEAR(frame.head.dot(frame.front), 0, 1e-12);
  EXPECT_NEAR(frame.front.norm(), 1, 1e-12);
  const double b = 84 * M_PI / 180;
  EXPECT_THROW((void)make_body_frame({0, 0, 1}, {0, -std::sin(b), std::cos(b)}), BadInput);
  EXPECT_THROW((void)make_body_frame({0, 0, 0}, {0, -1, 0}), BadInput);
}

TEST(BodyFrame, TheMidlinePartsLeftFromRightAlongABentSpine) {
  BodyFrame frame = make_body_frame({0, 0, 1}, {0, -1, 0});
  frame.midline_lps_mm = {{0, 50, 0}, {0, 40, 100}, {30, 40, 200}};
  EXPECT_NEAR(frame.left_of_midline_mm({12, -80, 50}), 12, 1e-9);    // depth along front does not matter
  EXPECT_NEAR(frame.left_of_midline_mm({-7, 300, 20}), -7, 1e-9);
  EXPECT_NEAR(frame.left_of_midline_mm({5, 0, -400}), 5, 1e-9);      // the first piece runs on below
  EXPECT_LT(frame.left_of_midline_mm({20, 0, 200}), 0);              // right of the bent piece
  EXPECT_GT(frame.left_of_midline_mm({45, 0, 220}), 0);              // beyond the end, left of the piece run on
}

}  // namespace
}  // namespace leastharm
