#include "phantom_data/phantom.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <xraylib.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "imaging/error.h"
#include "imaging/material.h"

namespace leastharm::phantom {
namespace {

using testing::HasSubstr;
using testing::ThrowsMessage;


Phantom coarse(const std::string& name, PhantomOptions options = {}) {
  options.spacing_mm = name == "animal" ? Vec3(2.5, 2.5, 3.5) : name == "child" ? Vec3(5, 4, 6) : Vec3(7, 4, 9);
  return make_phantom(name, options);
}

// Every scenario, coarse, made once.
const Phantom& scan_of(const std::string& name) {
  static std::map<std::string, Phantom> made;
  const auto at = made.find(name);
  return at != made.end() ? at->second : made.emplace(name, coarse(name)).first->second;
}

// The smallest body without noise, made once.
const Phantom& quiet_animal() {
  static const Phantom phantom = coarse("animal", {.noise_hu = 0});
  return phantom;
}

// The demo's body, made once.
const Phantom& adult() {
  static const Phantom phantom = make_phantom("adult");
  return phantom;
}

PerMaterial<double> litres(const Phantom& phantom) {
  PerMaterial<double> out{};
  for (const std::uint8_t label : phantom.truth.values) out[label] += phantom.truth.grid.voxel_volume_mm3() * 1e-6;
  return out;
}

// Whether all 26 neighbours hold the same material: no partial volume there.
bool is_deep(const Volume<std::uint8_t>& truth, VoxelIndex v) {
  const Grid& grid = truth.grid;
  for (int k = -1; k <= 1; ++k)
    for (int j = -1; j <= 1; ++j)
      for (int i = -1; i <= 1; ++i) {
        const VoxelIndex w{v.i + i, v.j + j, v.k + k};
        if (!grid.contains(w) || truth.at(w) != truth.at(v)) return false;
      }
  return true;
}

PerMaterial<double> deep_mean_hu(const Phantom& phantom) {
  PerMaterial<double> sum{}, count{};
  const Grid& grid = phantom.hu.grid;
  for (int k = 0; k < grid.size[2]; k += 2)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const VoxelIndex v{i, j, k};
        if (!is_deep(phantom.truth, v)) continue;
        sum[phantom.truth.at(v)] += phantom.hu.at(v);
        ++count[phantom.truth.at(v)];
      }
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    sum[m] = count[m] > 0 ? sum[m] / count[m] : std::numeric_limits<double>::quiet_NaN();
  return sum;
}

// HU of a compound at 68 keV, from the mass attenuation coefficients of xraylib (Schoonjans et al. 2011,
// Spectrochim Acta B 66:776).
double hu_of(const char* compound, double density_g_per_cm3) {
  constexpr double kEnergy_kev = 68;
  const double water = CS_Total_CP("H2O", kEnergy_kev, nullptr);
  return 1000 * (density_g_per_cm3 * CS_Total_CP(compound, kEnergy_kev, nullptr) / water - 1);
}

constexpr auto kAir = static_cast<std::size_t>(Material::air), kWrapping = static_cast<std::size_t>(Material::wrapping),
               kBody = static_cast<std::size_t>(Material::body), kPacking = static_cast<std::size_t>(Material::packing),
               kBone = static_cast<std::size_t>(Material::bone), kResin = static_cast<std::size_t>(Material::resin),
               kDense = static_cast<std::size_t>(Material::dense), kSupport = static_cast<std::size_t>(Material::support);

TEST(Phantom, SameSeedGivesSameBytesOnOneThreadAndOnMany) {
  const Phantom one = coarse("animal", {.seed = 7, .threads = 1}), many = coarse("animal", {.seed = 7, .threads = 5});
  EXPECT_TRUE(one.hu.values == many.hu.values);   // thousands of differences would say nothing more
  EXPECT_TRUE(one.truth.values == many.truth.values);
  EXPECT_EQ(one.scenario, many.scenario);
  const Phantom other = coarse("animal", {.seed = 8});
  EXPECT_FALSE(one.hu.values == other.hu.values);
  EXPECT_FALSE(one.truth.values == other.truth.values);
}

TEST(Phantom, DemoBodyHasThePromisedGrid) {
  const Grid& grid = adult().hu.grid;
  EXPECT_EQ(grid.size, (std::array{256, 200, 256}));
  EXPECT_TRUE(grid.spacing_mm.isApprox(Vec3(1.4, 1.4, 3.0)));
  EXPECT_EQ(grid.direction, Mat3::Identity());
  EXPECT_TRUE(same_grid(grid, adult().truth.grid));
  EXPECT_EQ(adult().scenario.at("grid").at("size"), (std::vector{256, 200, 256}));
  EXPECT_THAT(adult().scenario.at("invented").get<std::string>(), HasSubstr("invented"));
}

TEST(Phantom, RoomAirReadsMinus1000) {
  double sum = 0;
  int count = 0;
  const Grid& grid = adult().hu.grid;
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < 12; ++j)
      for (int i = 0; i < 40; ++i) {
        ASSERT_EQ(adult().truth.at({i, j, k}), kAir);
        sum += adult().hu.at({i, j, k});
        ++count;
      }
  EXPECT_NEAR(sum / count, -1000, 2);
}

TEST(Phantom, ReadingsStayInTwelveBits) {
  const auto [low, high] = std::minmax_element(adult().hu.values.begin(), adult().hu.values.end());
  EXPECT_GE(*low, -1024);
  EXPECT_EQ(*high, 3071);   // the metal bead
}

struct NoiseFigures {
  double deviation = 0, along_i = 0, along_j = 0, along_k = 0;
};

// From the difference of two scans of one body, with and without noise, away from clipped readings.
NoiseFigures noise_figures(const Phantom& noisy, const Phantom& quiet) {
  const Grid& grid = quiet.hu.grid;
  const auto noise = [&](VoxelIndex v) { return noisy.hu.at(v) - quiet.hu.at(v); };
  const auto clear = [&](VoxelIndex v) { return grid.contains(v) && quiet.hu.at(v) > -800 && quiet.hu.at(v) < 2500; };
  double square = 0, count = 0;
  std::array<double, 3> product{}, pairs{};
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const VoxelIndex v{i, j, k};
        if (!clear(v)) continue;
        square += noise(v) * noise(v);
        ++count;
        const std::array next{VoxelIndex{i + 1, j, k}, VoxelIndex{i, j + 1, k}, VoxelIndex{i, j, k + 1}};
        for (std::size_t axis = 0; axis < 3; ++axis)
          if (clear(next[axis])) {
            product[axis] += noise(v) * noise(next[axis]);
            ++pairs[axis];
          }
      }
  const double variance = square / count;
  return {std::sqrt(variance), product[0] / pairs[0] / variance, product[1] / pairs[1] / variance,
          product[2] / pairs[2] / variance};
}

TEST(Phantom, NoiseHasTheAskedDeviationAndTheGrainOfAKernel) {
  for (const double asked_hu : {12.0, 45.0}) {
    const NoiseFigures got = noise_figures(coarse("animal", {.noise_hu = asked_hu}), quiet_animal());
    EXPECT_NEAR(got.deviation, asked_hu, 0.03 * asked_hu);
    EXPECT_GT(got.along_i, 0.15);
    EXPECT_LT(got.along_i, 0.7);
    EXPECT_NEAR(got.along_j, got.along_i, 0.03);
    EXPECT_NEAR(got.along_k, 0, 0.02);
  }
}

TEST(Phantom, OffsetShiftsEveryReading) {
  const Phantom& plain = quiet_animal();
  const Phantom shifted = coarse("animal", {.noise_hu = 0, .hu_offset = 37});
  for (std::size_t n = 0; n < plain.hu.values.size(); n += 101)
    ASSERT_EQ(shifted.hu.values[n], std::min(3071, plain.hu.values[n] + 37));
}

// Densities: linen, derived from flax fibre; sawdust, Thompson and Darwin (0.12 to 0.18 loose) to firmly packed;
// cedar 0.52, The Wood Database; resins 1.04 to 1.13, CAMEO; sand 1.28 to 1.60 and dry mud 1.28 to 1.6, density
// tables of building materials; cortical bone 1.92, ICRU 46; dried hide 1.0 to 1.3, from memory.
TEST(Phantom, MaterialsReadWhatTheirDensityGives) {
  const PerMaterial<double> hu = deep_mean_hu(adult());
  EXPECT_GT(hu[kWrapping], hu_of("C6H10O5", 0.25));
  EXPECT_LT(hu[kWrapping], hu_of("C6H10O5", 0.45));
  EXPECT_GT(hu[kPacking], hu_of("C6H10O5", 0.20));
  EXPECT_LT(hu[kPacking], hu_of("C6H10O5", 0.30));
  EXPECT_GT(hu[kSupport], hu_of("C6H10O5", 0.40));
  EXPECT_LT(hu[kSupport], hu_of("C6H10O5", 0.55));
  EXPECT_GT(hu[kResin], hu_of("C20H30O2", 1.04));
  EXPECT_LT(hu[kResin], hu_of("C20H30O2", 1.13));
  EXPECT_GT(hu[kBody], -100);
  EXPECT_LT(hu[kBody], 220);
  EXPECT_GT(hu[kBone], 100);    // spongy and cortical together
  EXPECT_LT(hu[kBone], 1600);   // ICRU cortical bone at 68 to 70 keV
  EXPECT_GT(hu[kDense], hu_of("SiO2", 1.9));
  EXPECT_LT(hu[kDense], hu_of("SiO2", 2.65));
}

TEST(Phantom, MineralPackingReadsWhatItsDensityGives) {
  const double sand = deep_mean_hu(scan_of("sand-packed"))[kPacking], mud = deep_mean_hu(scan_of("mud-packed"))[kPacking];
  EXPECT_GT(sand, hu_of("SiO2", 1.40));
  EXPECT_LT(sand, hu_of("SiO2", 1.60));
  EXPECT_GT(mud, hu_of("Al2Si2O9H4", 1.20));   // kaolinite
  EXPECT_LT(mud, hu_of("Al2Si2O9H4", 1.35));
}

TEST(Phantom, MaterialsAreNotEven) {
  const Phantom quiet = make_phantom("adult", {.spacing_mm = Vec3(4, 4, 6), .noise_hu = 0});
  PerMaterial<double> sum{}, square{}, count{};
  for (int k = 0; k < quiet.hu.grid.size[2]; ++k)
    for (int j = 0; j < quiet.hu.grid.size[1]; ++j)
      for (int i = 0; i < quiet.hu.grid.size[0]; ++i) {
        if (!is_deep(quiet.truth, {i, j, k})) continue;
        const std::size_t m = quiet.truth.at({i, j, k});
        const double hu = quiet.hu.at({i, j, k});
        sum[m] += hu;
        square[m] += hu * hu;
        ++count[m];
      }
  for (const std::size_t m : {kWrapping, kBody, kPacking, kBone, kResin, kSupport}) {
    ASSERT_GT(count[m], 50) << kMaterialNames[m];
    EXPECT_GT(std::sqrt(square[m] / count[m] - std::pow(sum[m] / count[m], 2)), 2) << kMaterialNames[m];
  }
}

TEST(Phantom, PackingLiesInAGenerousColumnOnEitherSideOfTheSpine) {
  const Grid& grid = adult().truth.grid;
  for (const char* name : {"packing_left", "packing_right"}) {
    const VoxelIndex middle = grid.voxel_at(adult().points.at(name));
    std::array<int, 3> run{};
    for (int axis = 0; axis < 3; ++axis)
      for (const int way : {1, -1})
        for (VoxelIndex v = middle; grid.contains(v) && adult().truth.at(v) == kPacking;) {
          ++run[static_cast<std::size_t>(axis)];
          (axis == 0 ? v.i : axis == 1 ? v.j : v.k) += way;
        }
    EXPECT_GE(run[0] * grid.spacing_mm.x(), 35) << name;
    EXPECT_LE(run[0] * grid.spacing_mm.x(), 56) << name;
    EXPECT_GE(run[1] * grid.spacing_mm.y(), 35) << name;
    EXPECT_GE(run[2] * grid.spacing_mm.z(), 150) << name;
  }
  int across = 0;   // between the columns lies the spine, no bridge of packing
  const VoxelIndex middle = grid.voxel_at(0.5 * (adult().points.at("packing_left") + adult().points.at("packing_right")));
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j) across += adult().truth.at({middle.i, j, k}) == kPacking;
  EXPECT_EQ(across, 0);
}

TEST(Phantom, WrappingInFrontOfThePackingIsAboutACentimetreThick) {
  const Grid& grid = adult().truth.grid;
  for (const char* name : {"packing_left", "packing_right"}) {
    const VoxelIndex start = grid.voxel_at(adult().points.at(name));
    double wrapping_mm = 0, wall_mm = 0;
    for (int j = start.j; j >= 0; --j) {
      const std::size_t m = adult().truth.at({start.i, j, start.k});
      wrapping_mm += m == kWrapping ? grid.spacing_mm.y() : 0;
      wall_mm += m == kBody ? grid.spacing_mm.y() : 0;
    }
    EXPECT_GT(wrapping_mm, 6) << name;
    EXPECT_LT(wrapping_mm, 18) << name;
    EXPECT_GT(wall_mm, 4) << name;
    EXPECT_LT(wall_mm, 40) << name;
  }
}

// What each body must and must not hold, with the least and most litres.
struct Promise {
  std::string name;
  std::vector<std::size_t> holds, lacks;
  double body_least, body_most;
};

const std::vector<Promise>& promises() {
  static const std::vector<Promise> all{
      {"adult", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"child", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 2.5, 6},
      {"animal", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 0.08, 0.3},
      {"sand-packed", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"mud-packed", {kWrapping, kPacking, kBone, kResin, kSupport}, {kDense}, 7, 13},
      {"unpacked", {kWrapping, kBone, kDense, kSupport}, {kPacking, kResin}, 7, 13},
      {"unwrapped", {kPacking, kBone, kResin, kSupport}, {kWrapping, kDense}, 7, 13},
      {"loose-wrapping", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"no-opening", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"broken", {kWrapping, kPacking, kBone, kDense, kSupport}, {kResin}, 7, 13},
      {"two-pieces", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"coffin", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"table", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"living-plastic", {kBone, kSupport}, {kWrapping, kPacking, kResin, kDense}, 14, 24},
      {"prone-feet-first", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13},
      {"oblique", {kWrapping, kPacking, kBone, kResin, kDense, kSupport}, {}, 7, 13}};
  return all;
}

TEST(Phantom, EveryScenarioIsPromisedSomething) {
  std::vector<std::string> promised;
  for (const Promise& promise : promises()) promised.push_back(promise.name);
  EXPECT_EQ(scenario_names(), promised);
}

class EveryScenario : public testing::TestWithParam<Promise> {};

TEST_P(EveryScenario, HoldsWhatItPromises) {
  const Promise& promise = GetParam();
  const Phantom& phantom = scan_of(promise.name);
  const PerMaterial<double> volume = litres(phantom);
  for (const std::size_t m : promise.holds) EXPECT_GT(volume[m], m == kDense ? 1e-5 : 1e-3) << kMaterialNames[m];
  for (const std::size_t m : promise.lacks) EXPECT_EQ(volume[m], 0) << kMaterialNames[m];
  EXPECT_GT(volume[kBody], promise.body_least);
  EXPECT_LT(volume[kBody], promise.body_most);
  EXPECT_GT(volume[kBone], 0.08 * volume[kBody]);
  EXPECT_LT(volume[kBone], 0.4 * volume[kBody]);
  EXPECT_EQ(phantom.scenario.at("scenario"), promise.name);
}

// The frame, the named places and the voxels must tell the same story.
TEST_P(EveryScenario, NamedPlacesAgreeWithFrameAndTruth) {
  const Phantom& phantom = scan_of(GetParam().name);
  const BodyFrame& frame = phantom.frame;
  EXPECT_NEAR(frame.head.norm(), 1, 1e-12);
  EXPECT_NEAR(frame.head.dot(frame.front), 0, 1e-12);
  ASSERT_GE(frame.midline_lps_mm.size(), 2U);
  EXPECT_GT(frame.head.dot(frame.midline_lps_mm.back() - frame.midline_lps_mm.front()), 100);
  const auto material_at = [&](const Vec3& p) { return static_cast<std::size_t>(phantom.truth.at(phantom.truth.grid.voxel_at(p))); };
  for (const auto& [name, p] : phantom.points) {
    ASSERT_TRUE(phantom.truth.grid.contains(phantom.truth.grid.voxel_at(p))) << name;
    const double left_mm = frame.left_of_midline_mm(p);
    if (name.starts_with("packing")) {
      EXPECT_EQ(material_at(p), kPacking) << name;
      EXPECT_GT(name == "packing_left" ? left_mm : -left_mm, 4) << name;
    } else if (name == "amulet") {
      EXPECT_EQ(material_at(p), kDense);
      EXPECT_GT(left_mm, 2);
      EXPECT_GT(frame.front.dot(p - frame.midline_lps_mm.front()), 10);
    } else if (name.starts_with("opening")) {
      EXPECT_GT(left_mm, 40) << name;
      EXPECT_EQ(material_at(p), kAir) << name;
    } else if (name.starts_with("resin")) {
      EXPECT_EQ(material_at(p), kResin) << name;
    }
  }
  if (phantom.points.contains("resin_skull")) {
    EXPECT_GT(frame.head.dot(phantom.points.at("resin_skull") - phantom.points.at("packing_left")), 150);
  }
}

INSTANTIATE_TEST_SUITE_P(Phantom, EveryScenario, testing::ValuesIn(promises()), [](const auto& scenario) {
  std::string name = scenario.param.name;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

TEST(Phantom, PoseTurnsBodyFrameAndPlacesTogether) {
  PhantomOptions options;
  options.pose = {.rotation_deg = Vec3(10, -5, 30), .shift_mm = Vec3(40, -25, 60)};
  const Phantom turned = coarse("adult", options);
  EXPECT_GT(turned.frame.left_of_midline_mm(turned.points.at("opening")), 80);
  EXPECT_EQ(turned.truth.at(turned.truth.grid.voxel_at(turned.points.at("packing_left"))), kPacking);
  EXPECT_EQ(turned.truth.at(turned.truth.grid.voxel_at(turned.points.at("packing_right"))), kPacking);
  EXPECT_TRUE(turned.frame.left().isApprox(turned.frame.head.cross(turned.frame.front)));
  EXPECT_LT(turned.frame.left().x(), 0.9);
  const double straight = litres(scan_of("adult"))[kPacking];
  EXPECT_NEAR(litres(turned)[kPacking], straight, 0.02 * straight);
}

TEST(Phantom, PronePutsTheFrontDownAndFeetFirstTheHeadAway) {
  const Phantom& turned = scan_of("prone-feet-first");
  EXPECT_TRUE(turned.frame.front.isApprox(Vec3(0, 1, 0)));
  EXPECT_TRUE(turned.frame.head.isApprox(Vec3(0, 0, -1)));
  const Phantom upright = coarse("prone-feet-first", {.pose = {.prone = true, .feet_first = true}});
  EXPECT_TRUE(upright.frame.front.isApprox(Vec3(0, -1, 0)));
  double board_y = 0, body_y = 0, board = 0, body = 0;
  for (std::size_t n = 0; n < turned.truth.values.size(); ++n) {
    const double y = static_cast<double>(n / static_cast<std::size_t>(turned.truth.grid.size[0]) % static_cast<std::size_t>(turned.truth.grid.size[1]));
    const bool is_board = turned.truth.values[n] == kSupport, is_body = turned.truth.values[n] == kBody;
    board_y += is_board ? y : 0;
    board += is_board;
    body_y += is_body ? y : 0;
    body += is_body;
  }
  EXPECT_GT(board_y / board, body_y / body);   // the board stays below
}

TEST(Phantom, GridMayLieObliquely) {
  const Phantom& oblique = scan_of("oblique");
  const Mat3& d = oblique.hu.grid.direction;
  EXPECT_TRUE((d.transpose() * d).isApprox(Mat3::Identity(), 1e-12));
  EXPECT_NEAR(d.determinant(), 1, 1e-12);
  EXPECT_LT(d.diagonal().maxCoeff(), 0.999);
}

TEST(Phantom, WrongSettingsAreRefusedWithAReason) {
  EXPECT_THAT([] { (void)make_phantom("giant"); }, ThrowsMessage<BadInput>(HasSubstr("adult")));
  for (const double spacing : {0.0, -1.0, 0.1, 50.0, std::nan("")})
    EXPECT_THAT([&] { (void)make_phantom("adult", {.spacing_mm = Vec3(1, 1, spacing)}); },
                ThrowsMessage<BadInput>(HasSubstr("0.3 to 10 mm")));
  EXPECT_THAT([] { (void)make_phantom("adult", {.noise_hu = -1}); }, ThrowsMessage<BadInput>(HasSubstr("0 to 200 HU")));
  EXPECT_THAT([] { (void)make_phantom("adult", {.spacing_mm = Vec3(0.3, 0.3, 0.3)}); },
              ThrowsMessage<BadInput>(HasSubstr("million voxels")));
}

}  // namespace
}  // namespace leastharm::phantom
