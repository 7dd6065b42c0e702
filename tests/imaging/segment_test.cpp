#include "imaging/segmentation.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <numbers>
#include <string>

#include "imaging/error.h"
#include "imaging/intake.h"
#include "phantom_data/phantom.h"
#include "support/drawn_body.h"
#include "support/map_score.h"
#include "support/plain_body.h"

namespace leastharm {
namespace {

using enum Material;

struct Case {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> truth;
  BodyFrame frame;
  Segmentation map;
};

Case mapped(Volume<std::int16_t> hu, Volume<std::uint8_t> truth, BodyFrame frame) {
  Segmentation map = segment(hu);
  return {std::move(hu), std::move(truth), std::move(frame), std::move(map)};
}

/// Of phantom_data, with coarse voxels; made once.
const Case& coarse(const std::string& name, const Vec3& spacing_mm) {
  static std::map<std::string, Case> made;
  if (!made.contains(name)) {
    phantom::Phantom p = phantom::make_phantom(name, {.spacing_mm = spacing_mm});
    made.emplace(name, mapped(std::move(p.hu), std::move(p.truth), p.frame));
  }
  return made.at(name);
}

/// Drawn at random, with shapes, HU and a scanner that the map was not fitted to; made once.
const Case& drawn(unsigned seed, double coarser = 1) {
  static std::map<unsigned, Case> made;
  if (!made.contains(seed)) {
    test::DrawnBody d = test::drawn_body(seed, coarser);
    made.emplace(seed, mapped(std::move(d.hu), std::move(d.truth), d.frame));
  }
  return made.at(seed);
}

/// Every material that is there overlaps the truth at least so far; what is not there is hardly found.
void expect_overlap(const Case& c, const std::map<Material, double>& floors) {
  const test::Overlap overlap = test::overlap(c.map.materials, c.truth);
  for (std::size_t m = 1; m < kMaterialCount; ++m) {
    if (overlap.truth[m] == 0) {
      EXPECT_LT(overlap.map[m], 0.003 * overlap.object()) << kMaterialNames[m];
      continue;
    }
    const auto floor = floors.find(static_cast<Material>(m));
    if (floor != floors.end()) {
      EXPECT_GE(overlap.dice(m), floor->second) << kMaterialNames[m];
    }
  }
}

TEST(Segment, ChildInLinenOnATable) {
  expect_overlap(drawn(3), {{wrapping, 0.95}, {body, 0.95}, {packing, 0.95}, {bone, 0.9}, {support, 0.9}});
}
TEST(Segment, LivingBodyHasNoWrappingAndNoPacking) {
  expect_overlap(drawn(12), {{body, 0.95}, {bone, 0.85}});
}
TEST(Segment, LivingBodyInThickSlicesHoldsNoSand) {
  expect_overlap(drawn(259, 1.1), {{body, 0.95}, {bone, 0.9}});   // slices of 5.6 mm
}
TEST(Segment, UnwrappedChildInACoffin) {
  expect_overlap(drawn(11), {{body, 0.95}, {packing, 0.95}, {bone, 0.9}, {support, 0.9}});
}
TEST(Segment, ChildInThickLinenWithAFind) {
  expect_overlap(drawn(18, 1.3), {{wrapping, 0.95}, {body, 0.95}, {packing, 0.95}, {bone, 0.9}, {dense, 0.9}});
}
TEST(Segment, LinenIsNotTakenForATableThatTheFieldCuts) {
  expect_overlap(drawn(107), {{wrapping, 0.85}, {body, 0.95}, {packing, 0.95}, {bone, 0.88}, {support, 0.85}});
}
TEST(Segment, CoffinThatARoundFieldCutsIsSupport) {
  expect_overlap(drawn(501, 2), {{wrapping, 0.9}, {body, 0.95}, {support, 0.9}});
}
TEST(Segment, HeadBoardThatTheVolumesEndCutsIsSupport) {
  const Case& c = coarse("coffin", {2.4, 2.4, 3.2});
  const int last = c.truth.grid.size[2] - 1;
  std::int64_t board = 0, found = 0;
  for (std::size_t v = c.truth.grid.offset(0, 0, last); v < c.truth.values.size(); ++v)
    if (c.truth.values[v] == static_cast<std::uint8_t>(support)) ++board, found += c.map.materials.values[v] == static_cast<std::uint8_t>(support);
  ASSERT_GT(board, 3000);
  EXPECT_GT(static_cast<double>(found), 0.95 * static_cast<double>(board));
}
TEST(Segment, SandInASmallChildIsPackingAndNotBone) {
  expect_overlap(drawn(127, 1.2), {{wrapping, 0.9}, {body, 0.95}, {packing, 0.9}, {bone, 0.85}, {support, 0.9}});
}
TEST(Segment, OvershootOfASharpKernelRoundSandIsNoShellOfBone) {
  expect_overlap(drawn(518), {{wrapping, 0.95}, {body, 0.95}, {packing, 0.95}, {bone, 0.9}, {support, 0.9}});
}
TEST(Segment, LinenOfAVoxelOrTwoIsNotABareSkin) {
  expect_overlap(drawn(214, 1.6), {{wrapping, 0.93}, {body, 0.95}, {packing, 0.95}, {bone, 0.88}});
}
TEST(Segment, ManyRoomsBehindAnOpeningAreInside) {
  expect_overlap(drawn(209, 1.5), {{body, 0.95}, {packing, 0.93}, {bone, 0.88}, {support, 0.85}});
}
TEST(Segment, WhatStandsLevelIsResinAndTheVolumesEndIsNoSupport) {
  expect_overlap(drawn(226, 1.3), {{body, 0.94}, {packing, 0.94}, {bone, 0.87}, {resin, 0.85}, {support, 0.9}});
}
TEST(Segment, ResinLowInASkullIsFoundThoughItsPlaneMeetsOtherSurfaces) {
  expect_overlap(drawn(408), {{wrapping, 0.95}, {body, 0.96}, {packing, 0.95}, {bone, 0.9}, {resin, 0.8}});
}
TEST(Segment, PoolReachesTheWallOfItsVessel) {
  expect_overlap(coarse("coffin", Vec3(2.4, 2.4, 3.2)), {{wrapping, 0.9}, {body, 0.96}, {packing, 0.93}, {bone, 0.92}, {resin, 0.91}});   // 0.89 without its edge
}
TEST(Segment, ShallowPoolIsFoundAndBoundedInMuchNoise) {
  Grid grid;
  grid.size = {76, 64, 80};
  grid.spacing_mm = {2.4, 2.4, 2.6};
  const Mat3 turn = Eigen::AngleAxisd(0.12, Vec3(0.3, 0, 1).normalized()).toRotationMatrix();
  for (const int resin_hu : {15, -40}) {
    PerMaterial<int> hu_of = test::kPlainHu;
    hu_of[static_cast<std::size_t>(resin)] = resin_hu;
    test::PlainBody scan = test::scan_plain(grid, 50, 1, [&](const Vec3& at) {
      const Vec3 p = turn * at;
      if (p.cwiseQuotient(Vec3(85, 68, 96)).norm() > 1) return air;
      if (p.cwiseQuotient(Vec3(62, 48, 72)).norm() > 1) return body;
      return p.y() > 34 ? resin : air;   // at most 14 mm deep
    }, hu_of);
    SCOPED_TRACE(resin_hu);
    expect_overlap(mapped(std::move(scan.hu), std::move(scan.truth), {}), {{body, 0.97}, {resin, 0.78}});
  }
}
TEST(Segment, LumpOfBrainOfItsOwnHuIsNoResin) {
  expect_overlap(drawn(402), {{wrapping, 0.9}, {body, 0.96}, {bone, 0.9}, {support, 0.9}});
}
TEST(Segment, SmallAnimalBundle) {
  expect_overlap(coarse("animal", Vec3(1, 1, 1.3)), {{wrapping, 0.95}, {body, 0.93}, {packing, 0.93}, {bone, 0.85}, {dense, 0.9}, {support, 0.9}});
}
TEST(Segment, SandIsPackingAndNotBone) {
  expect_overlap(coarse("sand-packed", Vec3(3, 3, 4)), {{wrapping, 0.93}, {body, 0.93}, {packing, 0.9}, {bone, 0.85}, {support, 0.9}});
}
TEST(Segment, RimOfMudIsNoBone) {
  expect_overlap(coarse("mud-packed", Vec3(3, 3, 4)), {{body, 0.95}, {packing, 0.96}, {bone, 0.91}, {support, 0.9}});
}
TEST(Segment, SpongyBoneOfTissuesOwnHuIsFilledThoughItsShellsAreBroken) {
  expect_overlap(drawn(222, 1.4), {{body, 0.965}, {packing, 0.95}, {bone, 0.86}, {support, 0.9}});
}
TEST(Segment, BonesDenserThanAllOthersAreNoFinds) {
  expect_overlap(drawn(225), {{wrapping, 0.95}, {body, 0.95}, {bone, 0.85}});
}
TEST(Segment, ResinOfItsOwnHuIsFreeWhereItsSurfaceRunsThroughBlocks) {
  expect_overlap(drawn(235, 1.6), {{wrapping, 0.95}, {body, 0.96}, {bone, 0.89}, {resin, 0.88}, {support, 0.9}});
}
TEST(Segment, HalfBoneHalfAirIsNoSkin) {
  const Case& c = coarse("mud-packed", Vec3(3, 3, 4));
  const auto& n = c.truth.grid.size;
  const std::ptrdiff_t row = n[0], slice = row * n[1];
  double bare = 0, as_body = 0;   // voxels of bone beside air
  for (int k = 1; k + 1 < n[2]; ++k)
    for (int j = 1; j + 1 < n[1]; ++j)
      for (int i = 1; i + 1 < n[0]; ++i) {
        const std::uint8_t* t = c.truth.values.data() + c.truth.grid.offset(i, j, k);
        if (*t != static_cast<std::uint8_t>(bone) || (t[-1] && t[1] && t[-row] && t[row] && t[-slice] && t[slice])) continue;
        ++bare;
        as_body += c.map.materials.values[c.truth.grid.offset(i, j, k)] == static_cast<std::uint8_t>(body);
      }
  ASSERT_GT(bare, 1000);
  EXPECT_LT(as_body / bare, 0.12);
}
TEST(Segment, BoneUnderAThinSkinEndsHalfWayToTheSkin) {
  Grid grid;
  grid.size = {60, 60, 50};
  grid.spacing_mm = {2.5, 2.5, 3};
  const Mat3 turn = Eigen::AngleAxisd(0.25, Vec3(1, 0.4, 0.2).normalized()).toRotationMatrix();
  test::PlainBody scan = test::scan_plain(grid, 15, 1, [&](const Vec3& at) {
    constexpr double kLimb_mm = 45, kBone_mm = 6, kSkin_mm = 2.2;
    const Vec3 p = turn * at;
    const double r = std::hypot(p.x(), p.y()), apart = std::numbers::pi / 3;   // six rods round the limb
    const double angle = std::remainder(std::atan2(p.y(), p.x()), apart), middle = kLimb_mm - kSkin_mm - kBone_mm;
    if (std::abs(p.z()) > 62 || r > 62) return air;
    if (r > kLimb_mm) return wrapping;
    return std::hypot(r * std::cos(angle) - middle, r * std::sin(angle)) < kBone_mm ? bone : body;
  });
  expect_overlap(mapped(std::move(scan.hu), std::move(scan.truth), {}), {{wrapping, 0.95}, {body, 0.95}, {bone, 0.94}});
}
TEST(Segment, FillingThatLiesOpenWhereABodyIsBrokenIsPacking) {
  expect_overlap(drawn(414, 1.1), {{wrapping, 0.93}, {body, 0.94}, {packing, 0.95}, {bone, 0.88}});
}
TEST(Segment, FillingOfAPieceOfATrunkThatIsOpenAtBothEndsIsPacking) {
  Grid grid;
  grid.size = {84, 76, 70};
  grid.spacing_mm = {2.5, 2.5, 3};
  const Mat3 turn = Eigen::AngleAxisd(0.3, Vec3(1, 0.5, 0).normalized()).toRotationMatrix();
  test::PlainBody scan = test::scan_plain(grid, 20, 1, [&](const Vec3& at) {
    const Vec3 p = turn * at;
    const double r = std::hypot(p.x(), 1.2 * p.y()), break_mm = 62 + 0.15 * p.x();
    if (std::abs(p.z()) > break_mm || r > 82) return air;
    return r > 70 ? wrapping : r > 52 ? body : packing;
  });
  expect_overlap(mapped(std::move(scan.hu), std::move(scan.truth), {}), {{wrapping, 0.9}, {body, 0.9}, {packing, 0.95}});
}
TEST(Segment, ObliqueGridOnABoard) {
  expect_overlap(coarse("oblique", Vec3(3, 3, 4)), {{wrapping, 0.9}, {body, 0.93}, {packing, 0.93}, {bone, 0.93}, {support, 0.9}});
}

TEST(Segment, SameMapOnAnyNumberOfThreads) {
  const Case& c = coarse("animal", Vec3(1, 1, 1.3));
  for (const int threads : {1, 2, 5}) {
    const Segmentation again = segment(c.hu, threads);
    EXPECT_TRUE(again.materials.values == c.map.materials.values) << threads;
    EXPECT_TRUE(again.confidence.values == c.map.confidence.values) << threads;
    EXPECT_EQ(again.proposed_frame.head, c.map.proposed_frame.head) << threads;
  }
}

TEST(Segment, ConfidenceIsTheShareThatIsRight) {
  test::Calibration all;   // bodies that the confidence table was not counted on
  for (const unsigned seed : {107U, 119U, 120U}) all.add(drawn(seed).map, drawn(seed).hu, drawn(seed).truth);
  EXPECT_LT(all.furthest_off(), 0.1);
}

TEST(Segment, ConfidenceIsLowerAtBorders) {
  const Case& c = drawn(11);
  double at_border = 0, borders = 0, inside = 0, insides = 0;
  const auto& n = c.truth.grid.size;
  for (int k = 1; k + 1 < n[2]; ++k)
    for (int j = 1; j + 1 < n[1]; ++j)
      for (int i = 1; i + 1 < n[0]; ++i) {
        const std::size_t v = c.truth.grid.offset(i, j, k);
        if (c.map.materials.values[v] == 0) continue;
        const bool border = c.map.materials.values[v] != c.map.materials.values[v - 1] || c.map.materials.values[v] != c.map.materials.values[v + 1];
        (border ? at_border : inside) += c.map.confidence.values[v] / 255.0;
        (border ? borders : insides) += 1;
      }
  EXPECT_LT(at_border / borders, inside / insides - 0.1);
}

TEST(Segment, FindingsSpeakToPeople) {
  for (const Finding& f : drawn(12).map.findings) {
    EXPECT_EQ(f.what.find("slab"), std::string::npos) << f.what;
    EXPECT_EQ(f.what.back(), '.') << f.what;
  }
}

TEST(Segment, FrameIsProposedFromShapeInAnyPosture) {
  for (const Vec3& turn : {Vec3(0, 0, 0), Vec3(0, 0, 180), Vec3(0, 0, 90), Vec3(0, 180, 0), Vec3(12, -8, 20)}) {
    phantom::PhantomOptions options{.spacing_mm = Vec3(4, 4, 5)};
    options.pose.rotation_deg = turn;
    const phantom::Phantom p = phantom::make_phantom("adult", options);
    const BodyFrame frame = segment(p.hu).proposed_frame;
    EXPECT_GT(frame.certainty, 0.5) << turn.transpose();
    EXPECT_LT(test::angle_deg(frame.head, p.frame.head), 10) << turn.transpose();
    EXPECT_LT(test::angle_deg(frame.front, p.frame.front), 15) << turn.transpose();
  }
}

TEST(Segment, NothingButAirIsRefused) {
  Grid grid;
  grid.size = {20, 20, 20};
  EXPECT_THROW((void)segment({grid, std::vector<std::int16_t>(8000, -1000)}), BadInput);
}

TEST(Segment, LivingChestIsBodyLungsAsAirAndBone) {
  const std::filesystem::path scan = std::filesystem::path(LEASTHARM_SOURCE) / "../shared/data/chest_ct/dicom";
  if (!std::filesystem::exists(scan)) GTEST_SKIP() << "the sibling folder with the real scan is not here";
  const Volume<std::int16_t> hu = read_ct(scan).hu;
  const Segmentation map = segment(hu);
  const auto litres = [&](Material m) { return map.volume_mm3[static_cast<std::size_t>(m)] * 1e-6; };
  EXPECT_GT(litres(Material::body), 4);
  EXPECT_GT(litres(Material::bone), 0.08);
  EXPECT_EQ(litres(Material::packing), 0);
  EXPECT_LT(litres(Material::wrapping), 0.01);
  EXPECT_LT(litres(Material::resin) + litres(Material::dense), 0.01);
}

}  // namespace
}  // namespace leastharm
