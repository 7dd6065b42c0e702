#include <gmock/gmock.h>

#include <fstream>

#include "imaging/hash.h"
#include "imaging/intake.h"
#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "support/dicom_edit.h"
#include "support/findings.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using phantom::Coding;
using phantom::CtSeriesOptions;
using phantom::SliceTags;
using phantom::write_ct_series;
using phantom::write_enhanced_ct;
using test::oblique_grid;
using test::ScratchFolder;
using test::truth;
using testing::HasSubstr;

void expect_truth(const CtVolume& ct) {
  EXPECT_TRUE(same_grid(ct.hu.grid, truth().grid, 1e-6));
  EXPECT_EQ(ct.hu.values, truth().values);
}

struct Case {
  Coding coding;
  bool is_signed;
  int bits;
};

class IntakeCoding : public testing::TestWithParam<Case> {};

TEST_P(IntakeCoding, GivesTheWrittenHuInTheirPlaces) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam().coding;
  options.is_signed = GetParam().is_signed;
  options.bits_stored = GetParam().bits;
  options.intercept = GetParam().is_signed ? 0 : -1024;
  options.shuffled_names = true;
  write_ct_series(truth(), folder.path(), options);
  expect_truth(read_ct(folder.path()));
}

TEST_P(IntakeCoding, GivesTheWrittenHuOfAnEnhancedFile) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam().coding;
  options.is_signed = GetParam().is_signed;
  options.bits_stored = GetParam().bits;
  options.intercept = GetParam().is_signed ? 0 : -1024;
  write_enhanced_ct(truth(), folder / "one", options);
  write_enhanced_ct(truth(), folder / "converted", options, true);
  expect_truth(read_ct(folder / "one"));
  expect_truth(read_ct(folder / "converted"));
}

std::string case_name(const testing::TestParamInfo<Case>& info) {
  constexpr const char* kNames[] = {"Implicit", "Explicit",     "BigEndian", "Deflated",
                                    "Rle",      "JpegLossless", "JpegLs",    "Jpeg2000"};
  return std::string(kNames[static_cast<int>(info.param.coding)]) + (info.param.is_signed ? "Signed" : "Unsigned") +
         std::to_string(info.param.bits);
}

std::vector<Case> all_cases() {
  std::vector<Case> cases;
  for (int coding = 0; coding < 8; ++coding)
    for (const bool is_signed : {false, true})
      for (const int bits : {12, 16}) cases.push_back({static_cast<Coding>(coding), is_signed, bits});
  return cases;
}

INSTANTIATE_TEST_SUITE_P(All, IntakeCoding, testing::ValuesIn(all_cases()), case_name);

TEST(IntakeRead, TakesFilesWithoutPreamble) {
  for (const Coding coding : {Coding::implicit_little, Coding::explicit_little, Coding::explicit_big}) {
    const ScratchFolder folder;
    CtSeriesOptions options;
    options.preamble = false;
    options.coding = coding;
    write_ct_series(truth(), folder.path(), options);
    expect_truth(read_ct(folder.path()));
  }
}

TEST(IntakeRead, TakesSubfoldersAndAnyNames) {
  const ScratchFolder folder;
  const auto files = write_ct_series(truth(), folder / "scan");
  std::filesystem::create_directories(folder / "scan/deep/er");
  for (std::size_t n = 0; n < files.size(); ++n)
    std::filesystem::rename(files[n], folder / ("scan/deep/" + std::string(n % 2 ? "er/" : "") +
                                                std::to_string(n * 7919 % 101) + (n % 3 ? "" : ".txt")));
  expect_truth(read_ct(folder.path()));
}

TEST(IntakeRead, AppliesEachSlicesOwnRescale) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) {
    tags.slope = slice % 2 ? 0.5 : 1;
    tags.intercept = -100 * slice;
  };
  write_ct_series(truth(), folder.path(), options);
  expect_truth(read_ct(folder.path()));
  write_enhanced_ct(truth(), folder / "enhanced.dcm", options);
  expect_truth(read_ct(folder / "enhanced.dcm"));
}

TEST(IntakeRead, RoundsHuOfAFractionalSlope) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.slope = 1.7;
  options.intercept = -1024.3;
  write_ct_series(truth(), folder.path(), options);
  const CtVolume ct = read_ct(folder.path());
  for (std::size_t n = 0; n < ct.hu.values.size(); ++n) {
    const double stored = std::round((truth().values[n] + 1024.3) / 1.7);
    ASSERT_NEAR(ct.hu.values[n], stored * 1.7 - 1024.3, 0.5 + 1e-9);
  }
}

TEST(IntakeRead, HoldsHuWithin16Bits) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.slope = 100;
  write_ct_series(truth(), folder.path(), options);
  for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
    test::set_text(entry.path(), 0x0028, 0x1053, "DS", "10000");
  const CtVolume ct = read_ct(folder.path());
  EXPECT_EQ(*std::max_element(ct.hu.values.begin(), ct.hu.values.end()), 32767);
}

// A rim far below air is no air: declared as padding, or not declared at all.
class IntakePadding : public testing::TestWithParam<std::tuple<bool, int>> {};

TEST_P(IntakePadding, IsNoReading) {
  const auto [is_signed, declared] = GetParam();
  const ScratchFolder folder;
  auto volume = truth();
  for (std::size_t n = 0; n < volume.values.size(); n += 5) volume.values[n] = kNoReadingHu;
  CtSeriesOptions options;
  options.is_signed = is_signed;
  options.intercept = is_signed ? 0 : -1024;
  options.padding_value = is_signed ? -2000 : 63536;   // the latter: -2000 + 65536, as some writers have it
  const auto files = write_ct_series(volume, folder.path(), options);
  if (!declared)
    for (const auto& file : files) test::replace_element(file, 0x0028, 0x0120, "");
  const CtVolume ct = read_ct(folder.path());
  if (is_signed || declared) {
    EXPECT_EQ(ct.hu.values, volume.values);
    EXPECT_THAT(test::texts(ct.findings), HasSubstr("20.0 % of the voxels have no reading"));
  }
}

INSTANTIATE_TEST_SUITE_P(All, IntakePadding, testing::Combine(testing::Bool(), testing::Values(0, 1)));

TEST(IntakeRead, TakesARangeOfPadding) {
  const ScratchFolder folder;
  auto volume = truth();
  for (std::size_t n = 0; n < 10; ++n) volume.values[n] = static_cast<std::int16_t>(-1050 - n);
  CtSeriesOptions options;
  options.padding_value = -1060;
  for (const auto& file : write_ct_series(volume, folder.path(), options))
    test::replace_element(file, 0x0028, 0x0120,
                          test::element(0x0028, 0x0120, "SS", test::word_value(static_cast<std::uint16_t>(-1060))) +
                              test::element(0x0028, 0x0121, "SS", test::word_value(static_cast<std::uint16_t>(-1055))));
  const CtVolume ct = read_ct(folder.path());
  for (std::size_t n = 0; n < 10; ++n) EXPECT_EQ(ct.hu.values[n], n < 5 ? volume.values[n] : kNoReadingHu) << n;
}

// PS3.5, 8.1.1: bits above the stored ones may hold anything (old overlays do).
TEST(IntakeRead, PassesOverBitsAboveTheStoredOnes) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.is_signed = false;
  options.bits_stored = 12;
  options.intercept = -1024;
  for (const auto& file : write_ct_series(truth(), folder.path(), options)) {
    std::string bytes = test::read_bytes(file);
    for (std::size_t at = bytes.size() - 1; at > bytes.size() - 200; at -= 2) bytes[at] = static_cast<char>(bytes[at] | 0xa0);
    test::write_bytes(file, bytes);
  }
  expect_truth(read_ct(folder.path()));
}

TEST(IntakeRead, GivesTheSameFromEveryFormat) {
  const ScratchFolder folder;
  auto volume = truth();
  volume.values[3] = kNoReadingHu;
  CtSeriesOptions options;
  options.padding_value = -2000;
  write_ct_series(volume, folder / "dicom", options);
  const CtVolume dicom = read_ct(folder / "dicom");
  EXPECT_EQ(dicom.sha256, sha256_hex(dicom.hu));
  for (const char* ending : {".nrrd", ".nii", ".nii.gz", ".mha"}) {
    const auto path = folder / (std::string("volume") + ending);
    write_hu(dicom.hu, path);
    const CtVolume same = read_ct(path);
    EXPECT_TRUE(same_grid(same.hu.grid, dicom.hu.grid, 1e-4)) << ending;
    EXPECT_EQ(same.hu.values, dicom.hu.values) << ending;
    EXPECT_EQ(same.series_uid, std::string("file:volume") + ending);
    EXPECT_EQ(same.sha256, dicom.sha256) << ending;
  }
}

TEST(IntakeRead, KnowsACtAgainInAnotherFolderAndCoding) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  write_ct_series(truth(), folder / "here", options);
  options.coding = Coding::rle;
  options.shuffled_names = true;
  write_ct_series(truth(), folder / "there", options);
  const CtVolume here = read_ct(folder / "here"), there = read_ct(folder / "there");
  EXPECT_EQ(here.sha256, there.sha256);
  EXPECT_EQ(here.series_uid, there.series_uid);
  auto other = truth();
  ++other.values[100];
  write_ct_series(other, folder / "other");
  EXPECT_NE(read_ct(folder / "other").sha256, here.sha256);
}

TEST(IntakeRead, KeepsListedFactsAndNothingAboutPeople) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.kernel = "SHARP";
  options.kvp = 100;
  for (const auto& file : write_ct_series(truth(), folder.path(), options))
    test::replace_element(file, 0x0008, 0x0070,
                          test::element(0x0008, 0x0070, "LO", "Invented") +
                              test::element(0x0008, 0x0080, "LO", "INVENTED HOSPITAL") +
                              test::element(0x0008, 0x1070, "PN", "INVENTED^OPERATOR"));
  const CtVolume ct = read_ct(folder.path());
  const std::map<std::string, std::string> expected{{"modality", "CT"},          {"kVp", "100"},
                                                    {"kernel", "SHARP"},         {"slice_thickness_mm", "1.25"},
                                                    {"tube_current_mA", "200"},  {"exposure_mAs", "100"}};
  EXPECT_EQ(ct.facts, expected);
  std::string all = ct.series_uid + ct.frame_of_reference_uid + test::texts(ct.findings);
  for (const auto& [key, value] : ct.facts) all += key + value;
  EXPECT_EQ(all.find("INVENTED"), std::string::npos);
}

TEST(IntakeRead, ShiftsAirTo1000BelowWaterWhereAsked) {
  const ScratchFolder folder;
  Grid grid = oblique_grid(40, 40, 10);
  Volume<std::int16_t> volume{grid, std::vector<std::int16_t>(grid.voxel_count())};
  for (std::size_t n = 0; n < volume.values.size(); ++n) {
    const int noise = static_cast<int>(n * 7919 % 41) - 20;   // even, mean 0
    volume.values[n] = static_cast<std::int16_t>((n / 40 % 40 < 10 ? 60 : n / 40 % 40 < 14 ? -700 : -930) + noise);
  }
  volume.values[7] = kNoReadingHu;
  write_hu(volume, folder / "hu.nrrd");
  const CtVolume as_read = read_ct(folder / "hu.nrrd");
  EXPECT_EQ(as_read.hu.values, volume.values);
  EXPECT_NEAR(as_read.air_hu, -930, 1);
  EXPECT_THAT(test::texts(as_read.findings), HasSubstr("--correct-air"));
  IntakeOptions options;
  options.correct_air = true;
  const CtVolume corrected = read_ct(folder / "hu.nrrd", options);
  EXPECT_NEAR(air_reading_hu(corrected.hu), -1000, 1);
  EXPECT_NEAR(corrected.air_hu, -1000, 1);
  EXPECT_NEAR(corrected.hu.values[10] - volume.values[10], -70, 1);
  EXPECT_EQ(corrected.hu.values[7], kNoReadingHu);
  EXPECT_THAT(test::texts(corrected.findings), HasSubstr("mended: "));
}

TEST(IntakeRead, SaysSoWhereNoRoomAirIsInTheField) {
  const ScratchFolder folder;
  Volume<std::int16_t> volume{oblique_grid(40, 40, 10), {}};
  for (std::size_t n = 0; n < volume.grid.voxel_count(); ++n)   // muscle beside lung
    volume.values.push_back(static_cast<std::int16_t>((n / 40 % 40 < 20 ? 60 : -760) + static_cast<int>(n * 7919 % 41) - 20));
  write_hu(volume, folder / "hu.nrrd");
  for (const bool correct_air : {false, true}) {
    const CtVolume ct = read_ct(folder / "hu.nrrd", {.correct_air = correct_air});
    EXPECT_TRUE(std::isnan(ct.air_hu));
    EXPECT_EQ(ct.hu.values, volume.values);
    EXPECT_EQ(test::texts(ct.findings).find("no room air was found") != std::string::npos, correct_air);
  }
}

TEST(IntakeRead, SaysNothingOfAWellSetScanner) {
  const ScratchFolder folder;
  Volume<std::int16_t> volume{oblique_grid(40, 40, 10), {}};
  for (std::size_t n = 0; n < volume.grid.voxel_count(); ++n)
    volume.values.push_back(static_cast<std::int16_t>((n / 40 % 40 < 20 ? 60 : -985) + static_cast<int>(n * 7919 % 41) - 20));
  write_hu(volume, folder / "hu.nrrd");
  const CtVolume ct = read_ct(folder / "hu.nrrd");
  EXPECT_NEAR(ct.air_hu, -985, 1);
  EXPECT_THAT(ct.findings, testing::IsEmpty());
}

// The chest CT of the Image Biomarker Standardisation Initiative (Lambin 2016, DOI 10.17195/candat.2016.08.1), or any
// other CT that whoever runs the tests has at hand.
TEST(IntakeRead, TakesARealCt) {
  const char* folder = std::getenv("LEASTHARM_EXTRA_CT");
  if (!folder) GTEST_SKIP() << "set LEASTHARM_EXTRA_CT to a folder with one CT series";
  const CtVolume ct = read_ct(folder);
  EXPECT_EQ(ct.hu.values.size(), ct.hu.grid.voxel_count());
  EXPECT_LT(*std::min_element(ct.hu.values.begin(), ct.hu.values.end()), -900);
  if (ct.hu.grid.size != std::array{204, 201, 60}) return;
  double sum = 0;
  for (const auto hu : ct.hu.values) sum += hu;
  EXPECT_NEAR(sum / static_cast<double>(ct.hu.values.size()), -266.47, 0.005);
  EXPECT_NEAR((ct.hu.grid.origin_lps_mm - Vec3(-174.3945, -79.6255, -100.4)).norm(), 0, 1e-3);
  EXPECT_NEAR(ct.hu.grid.lps_from_index({0, 0, 59}).z(), 76.6, 1e-3);
}

}  // namespace
}  // namespace leastharm
