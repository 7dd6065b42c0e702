#include <gmock/gmock.h>

#include <cmath>
#include <limits>
#include <numbers>

#include "imaging/intake.h"
#include "phantom_data/ct_series.h"
#include "support/dicom_edit.h"
#include "support/findings.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using phantom::CtSeriesOptions;
using phantom::SliceTags;
using phantom::write_ct_series;
using test::formula_volume;
using test::oblique_grid;
using test::only_series;
using test::refusal;
using test::ScratchFolder;
using test::texts;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// A stack whose slices lie where `place` says (mm along the normal, and sideways along row and column), each holding
/// the formula's HU at its own place: an independent truth for whatever is resampled from it.
struct Stack {
  Grid grid;
  std::vector<Vec3> offsets_mm;   ///< of each slice's first pixel: along row, along column, along normal

  [[nodiscard]] Vec3 first_pixel(std::size_t slice) const {
    return grid.origin_lps_mm + grid.direction * offsets_mm[slice];
  }

  void write(const std::filesystem::path& folder, CtSeriesOptions options = {}) const {
    Grid whole = grid;
    whole.size[2] = static_cast<int>(offsets_mm.size());
    Volume<std::int16_t> volume{whole, std::vector<std::int16_t>(whole.voxel_count())};
    for (std::size_t k = 0; k < offsets_mm.size(); ++k) {
      Grid slice = grid;
      slice.origin_lps_mm = first_pixel(k);
      slice.size[2] = 1;
      const auto hu = formula_volume(slice);
      std::copy(hu.values.begin(), hu.values.end(),
                volume.values.begin() + static_cast<std::ptrdiff_t>(whole.offset(0, 0, static_cast<int>(k))));
    }
    const auto change = options.change;
    options.shuffled_names = true;
    options.change = [=, this](int slice, SliceTags& tags) {
      tags.position_lps_mm = first_pixel(static_cast<std::size_t>(slice));
      if (change) change(slice, tags);
    };
    write_ct_series(volume, folder, options);
  }
};

Stack stack_at(const std::vector<double>& along_mm) {
  Stack stack{oblique_grid(), {}};
  for (const double place : along_mm) stack.offsets_mm.emplace_back(0, 0, place);
  return stack;
}

std::vector<double> even_places(int count, double step_mm) {
  std::vector<double> places;
  for (int n = 0; n < count; ++n) places.push_back(n * step_mm);
  return places;
}

/// The largest difference from the formula over voxels that hold a reading; and how many do.
struct Agreement {
  double worst_hu = 0;
  std::size_t voxels = 0;
};

Agreement against_formula(const Volume<std::int16_t>& hu) {
  Agreement agreement;
  for (int k = 0; k < hu.grid.size[2]; ++k)
    for (int j = 0; j < hu.grid.size[1]; ++j)
      for (int i = 0; i < hu.grid.size[0]; ++i) {
        const std::int16_t value = hu.values[hu.grid.offset(i, j, k)];
        if (value == kNoReadingHu) continue;
        const Vec3 place = hu.grid.lps_from_index({double(i), double(j), double(k)});
        agreement.worst_hu = std::max(agreement.worst_hu, std::abs(value - test::hu_at(place)));
        ++agreement.voxels;
      }
  return agreement;
}

// Linear interpolation over a distance h is wrong by at most h^2/8 times the second derivative; the formula's is below
// 700/9^2 + 700/11^2 + 2*700/99 + 400/7^2 in any direction.
double linear_error_hu(double h_mm) {
  return h_mm * h_mm / 8 * (700 / 81.0 + 700 / 121.0 + 1400 / 99.0 + 400 / 49.0) + 1;
}

TEST(IntakeGeometry, OfAnEvenStackIsExact) {
  const ScratchFolder folder;
  stack_at(even_places(12, 1.25)).write(folder.path());
  const CtVolume ct = read_ct(folder.path());
  Grid expected = oblique_grid();
  expected.size[2] = 12;
  EXPECT_TRUE(same_grid(ct.hu.grid, expected, 1e-6));
  EXPECT_NEAR(ct.hu.grid.spacing_mm.z(), 1.25, 1e-9);
  EXPECT_LE(against_formula(ct.hu).worst_hu, 0.501);
  EXPECT_THAT(ct.findings, IsEmpty());
}

TEST(IntakeGeometry, ComesFromPositionsAndNotFromMisleadingTags) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.thickness_mm = 7;
  options.change = [](int slice, SliceTags& tags) { tags.instance_number = 100 - slice; };
  stack_at(even_places(12, 1.25)).write(folder.path(), options);
  // Slice Location, Spacing Between Slices and Gantry Tilt, all wrong.
  for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
    test::replace_element(entry.path(), 0x0018, 0x5100,
                          test::element(0x0018, 0x0088, "DS", "9") + test::element(0x0018, 0x1120, "DS", "25") +
                              test::element(0x0018, 0x5100, "CS", "FFDR") + test::element(0x0020, 0x1041, "DS", "3"));
  const Series series = only_series(folder.path());
  EXPECT_EQ(series.tilt_deg, 0);
  EXPECT_NEAR(series.grid.spacing_mm.z(), 1.25, 1e-9);
  EXPECT_LE(against_formula(read_ct(folder.path()).hu).worst_hu, 0.501);
}

TEST(IntakeGeometry, ForgivesFloatDust) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) {
    tags.position_lps_mm.z() = 3.27 * slice + (slice % 3 == 1 ? -2e-14 : 0);
    tags.position_lps_mm.x() = slice % 2 ? -0.0 : 0.0;
    tags.position_lps_mm.y() = slice % 2 ? 1e-9 : -1e-9;
    tags.row = {1, slice % 2 ? -0.0 : 1e-10, 0};
    tags.column = {0, 1, slice % 2 ? 0.0 : -0.0};
    tags.image_type = slice < 5 ? "ORIGINAL\\PRIMARY\\AXIAL" : "DERIVED\\PRIMARY\\AXIAL";
  };
  write_ct_series(formula_volume(oblique_grid()), folder.path(), options);
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable);
  EXPECT_EQ(series.slices, 11);
  EXPECT_NEAR(series.grid.spacing_mm.z(), 3.27, 1e-9);
  EXPECT_EQ(series.tilt_deg, 0);
  for (int n = 0; n < 3; ++n) EXPECT_FALSE(std::signbit(series.grid.origin_lps_mm[n]) && series.grid.origin_lps_mm[n] == 0);
}

TEST(IntakeGeometry, ForgivesPositionsRoundedToATenthOfAMillimetre) {
  const ScratchFolder folder;
  Stack stack = stack_at(even_places(40, 0.625));
  CtSeriesOptions options;
  options.change = [](int, SliceTags& tags) {
    tags.position_lps_mm = (tags.position_lps_mm * 10).array().round().matrix() / 10;
  };
  stack.grid.direction = Mat3::Identity();
  stack.write(folder.path(), options);
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable);
  EXPECT_EQ(series.slices, 40);
  EXPECT_NEAR(series.grid.spacing_mm.z(), 0.625, 1e-3);
  EXPECT_THAT(texts(series.findings), AllOf(HasSubstr("rounded"), Not(HasSubstr("mended"))));
}

class IntakeTilt : public testing::TestWithParam<std::pair<double, double>> {};

// A tilted gantry: slices of one orientation, whose first pixels stand on a line that is not their normal.
TEST_P(IntakeTilt, IsResampledOntoARightAngledGrid) {
  const auto [row_deg, column_deg] = GetParam();
  const double step = 1.25, along_row = std::tan(row_deg * std::numbers::pi / 180) * step,
               along_column = std::tan(column_deg * std::numbers::pi / 180) * step;
  Stack stack{oblique_grid(), {}};
  for (int n = 0; n < 20; ++n) stack.offsets_mm.emplace_back(n * along_row, n * along_column, n * step);
  const ScratchFolder folder;
  stack.write(folder.path());
  const Series series = only_series(folder.path());
  EXPECT_NEAR(series.tilt_deg, std::atan(std::hypot(along_row, along_column) / step) * 180 / std::numbers::pi, 1e-6);
  EXPECT_THAT(texts(series.findings), HasSubstr("mended: the slices stand askew by "));
  const CtVolume ct = read_ct(folder.path());
  EXPECT_TRUE(same_grid(ct.hu.grid, series.grid, 1e-9));
  EXPECT_NEAR((ct.hu.grid.direction.transpose() * ct.hu.grid.direction - Mat3::Identity()).norm(), 0, 1e-9);
  EXPECT_NEAR(ct.hu.grid.spacing_mm.z(), step, 1e-9);
  const Agreement agreement = against_formula(ct.hu);
  EXPECT_LE(agreement.worst_hu, linear_error_hu(0.9));
  // Of each slice at most one row and one column lose a neighbour.
  EXPECT_GE(agreement.voxels, 20u * 22 * 16);
  // Nothing that was scanned lies outside the grid.
  for (const std::size_t k : {std::size_t{0}, std::size_t{19}})
    for (const Vec3& corner : {Vec3(0, 0, 0), Vec3(22, 16, 0)}) {
      Grid slice = stack.grid;
      slice.origin_lps_mm = stack.first_pixel(k);
      const Vec3 index = ct.hu.grid.index_from_lps(slice.lps_from_index(corner));
      for (int n = 0; n < 3; ++n) {
        EXPECT_GE(index[n], -0.051);
        EXPECT_LE(index[n], ct.hu.grid.size[static_cast<std::size_t>(n)] - 1 + 0.051);
      }
    }
}

INSTANTIATE_TEST_SUITE_P(Angles, IntakeTilt,
                         testing::Values(std::pair(0.0, 20.0), std::pair(0.0, -20.0), std::pair(15.0, 0.0),
                                         std::pair(-7.5, 12.0), std::pair(0.0, 1.0)));

TEST(IntakeGeometry, RefusesSlicesBesideEachOther) {
  Stack stack{oblique_grid(), {}};
  for (int n = 0; n < 10; ++n) stack.offsets_mm.emplace_back(n * 40.0, 0, n * 1.0);
  const ScratchFolder folder;
  stack.write(folder.path());
  EXPECT_THAT(refusal(folder.path()), HasSubstr("beside each other"));
}

TEST(IntakeGeometry, OfTwoSpacingsIsTheFinest) {
  std::vector<double> places = even_places(10, 1.0);
  for (int n = 1; n <= 8; ++n) places.push_back(9 + 2.0 * n);
  const ScratchFolder folder;
  stack_at(places).write(folder.path());
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable);
  EXPECT_NEAR(series.grid.spacing_mm.z(), 1.0, 1e-9);
  EXPECT_EQ(series.slices, 26);
  EXPECT_THAT(texts(series.findings), HasSubstr("mended: the slices are spaced unevenly"));
  const CtVolume ct = read_ct(folder.path());
  EXPECT_THAT(texts(ct.findings), HasSubstr("HU (root mean square)"));
  EXPECT_LE(against_formula(ct.hu).worst_hu, linear_error_hu(2.0));
  // Slices that lie on the grid are taken as they were scanned.
  const std::size_t slice = ct.hu.grid.offset(0, 0, 1);
  for (const int k : {0, 5, 9, 11, 25})
    for (std::size_t n = 0; n < slice; n += 37) {
      const auto i = static_cast<double>(n % 23), j = static_cast<double>(n / 23);
      EXPECT_NEAR(ct.hu.values[static_cast<std::size_t>(k) * slice + n],
                  test::hu_at(ct.hu.grid.lps_from_index({i, j, double(k)})), 0.501);
    }
}

TEST(IntakeGeometry, OfCoarseThenFineSlicesIsTheFinest) {
  std::vector<double> places;
  for (int n = 0; n < 8; ++n) places.push_back(5.0 * n);
  for (int n = 1; n <= 12; ++n) places.push_back(35 + 1.5 * n);
  const ScratchFolder folder;
  stack_at(places).write(folder.path());
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable) << texts(series.findings);
  EXPECT_NEAR(series.grid.spacing_mm.z(), 1.5, 1e-9);
  EXPECT_LE(against_formula(read_ct(folder.path()).hu).worst_hu, linear_error_hu(5.0));
}

// Two scans that overlap: in the middle, slices of the second lie between those of the first.
TEST(IntakeGeometry, OfOverlappingScansIsEven) {
  std::vector<double> places;
  for (int n = 0; n < 12; ++n) places.push_back(2.0 * n);
  for (int n = 0; n < 12; ++n) places.push_back(17.2 + 2.0 * n);
  std::sort(places.begin(), places.end());
  const ScratchFolder folder;
  stack_at(places).write(folder.path());
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable) << texts(series.findings);
  EXPECT_THAT(texts(series.findings), HasSubstr("spaced unevenly"));
  const CtVolume ct = read_ct(folder.path());
  EXPECT_NEAR(ct.hu.grid.spacing_mm.z(), 0.8, 1e-9);
  EXPECT_LE(against_formula(ct.hu).worst_hu, linear_error_hu(2.0));
  EXPECT_NEAR(ct.hu.grid.lps_from_index({0, 0, ct.hu.grid.size[2] - 1.0}).z(),
              stack_at(places).first_pixel(places.size() - 1).z(), ct.hu.grid.spacing_mm.z());
}

TEST(IntakeGeometry, OfATiltedStackOfTwoSpacingsIsMendedInOne) {
  Stack stack{oblique_grid(), {}};
  double place = 0;
  for (int n = 0; n < 20; ++n, place += n < 10 ? 1.0 : 2.0) stack.offsets_mm.emplace_back(0, 0.25 * place, place);
  const ScratchFolder folder;
  stack.write(folder.path());
  const CtVolume ct = read_ct(folder.path());
  EXPECT_THAT(texts(ct.findings), AllOf(HasSubstr("askew"), HasSubstr("unevenly")));
  EXPECT_LE(against_formula(ct.hu).worst_hu, linear_error_hu(0.9) + linear_error_hu(2.0));
}

class IntakeGap : public testing::TestWithParam<std::vector<int>> {};

TEST_P(IntakeGap, IsRefusedWithItsPlacesUnlessAllowed) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  const std::vector<int> missing = GetParam();
  options.change = [=](int slice, SliceTags& tags) {
    tags.skip = std::find(missing.begin(), missing.end(), slice) != missing.end();
  };
  Stack stack = stack_at(even_places(30, 1.25));
  stack.grid.direction = Mat3::Identity();
  stack.write(folder.path(), options);
  const Series series = only_series(folder.path());
  EXPECT_FALSE(series.usable);
  EXPECT_EQ(series.slices, 30);
  const std::string told = texts(series.findings);
  EXPECT_THAT(told, HasSubstr("refused: " + std::to_string(missing.size()) + " slice"));
  char place[64];   // of the slice before the first gap
  std::snprintf(place, sizeof place, "%.2f", -400.1 + 1.25 * (missing.front() - 1));
  EXPECT_THAT(told, HasSubstr(std::string(place).substr(0, 6)));
  EXPECT_THAT(refusal(folder.path()), AllOf(HasSubstr("missing"), HasSubstr("--allow-gaps")));
  IntakeOptions allowing;
  allowing.allow_gaps = true;
  const CtVolume ct = read_ct(folder.path(), allowing);
  EXPECT_TRUE(same_grid(ct.hu.grid, series.grid));
  EXPECT_THAT(texts(ct.findings), AllOf(HasSubstr("mended: "), HasSubstr("filled by interpolation"),
                                        HasSubstr("HU (root mean square)")));
  EXPECT_LE(against_formula(ct.hu).worst_hu, linear_error_hu(3 * 1.25));
}

INSTANTIATE_TEST_SUITE_P(Places, IntakeGap,
                         testing::Values(std::vector{7}, std::vector{7, 8}, std::vector{1}, std::vector{28},
                                         std::vector{5, 7}, std::vector{5, 6, 20}, std::vector{3, 10, 11, 17, 25}));

TEST(IntakeGeometry, KeepsOneOfEqualSlicesAtOnePlace) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) { tags.copies = slice % 4 == 0 ? 3 : 1; };
  stack_at(even_places(12, 1.25)).write(folder.path(), options);
  const CtVolume ct = read_ct(folder.path());
  EXPECT_EQ(ct.hu.grid.size[2], 12);
  EXPECT_LE(against_formula(ct.hu).worst_hu, 0.501);
  EXPECT_THAT(texts(ct.findings), HasSubstr("mended: 6 slices are there twice with equal pixels"));
}

TEST(IntakeGeometry, RefusesDifferentSlicesAtOnePlace) {
  const ScratchFolder folder;
  Stack stack = stack_at(even_places(12, 1.25));
  stack.grid.direction = Mat3::Identity();
  stack.write(folder / "one");
  CtSeriesOptions other;
  other.intercept = 30;   // other stored values, and clamped nowhere
  Stack again = stack;
  again.write(folder / "two", other);
  for (const auto& entry : std::filesystem::directory_iterator(folder / "two"))
    test::set_text(entry.path(), 0x0028, 0x1052, "DS", "31");   // one HU more
  EXPECT_THAT(refusal(folder.path()), AllOf(HasSubstr("12 places hold two different slices"), HasSubstr("-400.1 mm")));
}

TEST(IntakeGeometry, TakesSlicesInAnyDirection) {
  for (const Vec3& axis : {Vec3(1, 0, 0), Vec3(0, 1, 0), Vec3(0.3, -0.9, 0.2)}) {
    const ScratchFolder folder;
    Stack stack = stack_at(even_places(10, 2.5));
    stack.grid.direction = Eigen::AngleAxisd(std::numbers::pi / 2, axis.normalized()).toRotationMatrix();
    stack.write(folder.path());
    const CtVolume ct = read_ct(folder.path());
    EXPECT_LE(against_formula(ct.hu).worst_hu, 0.501);
    EXPECT_GT(ct.hu.grid.direction.determinant(), 0.999);
  }
}

TEST(IntakeGeometry, TellsOfSlicesThinnerThanTheirSpacing) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.thickness_mm = 0.5;
  stack_at(even_places(10, 2.5)).write(folder.path(), options);
  EXPECT_THAT(texts(only_series(folder.path()).findings), HasSubstr("note: slices of 0.5 mm (nominal) stand 2.5 mm apart"));
}

}  // namespace
}  // namespace leastharm
