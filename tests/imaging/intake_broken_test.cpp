#include <gmock/gmock.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <random>

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
using phantom::write_ct_series;
using test::formula_volume;
using test::oblique_grid;
using test::only_series;
using test::refusal;
using test::ScratchFolder;
using test::texts;
using test::truth;
using testing::AllOf;
using testing::HasSubstr;

constexpr Coding kCodings[] = {Coding::implicit_little, Coding::explicit_little, Coding::explicit_big,
                               Coding::deflated,        Coding::rle,             Coding::jpeg_lossless,
                               Coding::jpeg_ls,         Coding::jpeg_2000};

/// Reads whatever is there; only a reading or BadInput may come of it.
void expect_no_crash(const std::filesystem::path& path) {
  try {
    (void)inspect(path);
    IntakeOptions options;
    options.allow_gaps = true;
    const CtVolume ct = read_ct(path, options);
    EXPECT_EQ(ct.hu.values.size(), ct.hu.grid.voxel_count());
  } catch (const BadInput&) {
  }
}

class IntakeBroken : public testing::TestWithParam<Coding> {};

TEST_P(IntakeBroken, SliceThatIsCutShortIsRefusedAndLeftOutWhereAllowed) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam();
  const auto files = write_ct_series(truth(), folder.path(), options);
  const std::string bytes = test::read_bytes(files[4]);
  test::write_bytes(files[4], bytes.substr(0, bytes.size() * 8 / 10));
  const std::string told = refusal(folder.path());
  EXPECT_THAT(told, AllOf(HasSubstr("IM0000004.dcm"), HasSubstr("copy")));
  IntakeOptions allowing;
  allowing.allow_gaps = true;
  if (GetParam() == Coding::deflated) return;   // known only when it is unpacked
  EXPECT_THAT(texts(read_ct(folder.path(), allowing).findings), HasSubstr("filled by interpolation"));
}

TEST_P(IntakeBroken, LastSliceThatIsCutShortIsRefused) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam();
  const auto files = write_ct_series(truth(), folder.path(), options);
  const std::string bytes = test::read_bytes(files[10]);
  test::write_bytes(files[10], bytes.substr(0, bytes.size() - 40));
  EXPECT_THAT(refusal(folder.path()), HasSubstr("IM0000010.dcm"));
}

TEST_P(IntakeBroken, FilesOfAnyLengthNeverCrash) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam();
  const auto files = write_ct_series(formula_volume(oblique_grid(12, 10, 4)), folder.path(), options);
  const std::string bytes = test::read_bytes(files[1]);
  for (std::size_t length = 0; length < bytes.size(); length += 1 + bytes.size() / 120) {
    test::write_bytes(files[1], bytes.substr(0, length));
    expect_no_crash(folder.path());
  }
}

TEST_P(IntakeBroken, FlippedBitsNeverCrash) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam();
  const auto files = write_ct_series(formula_volume(oblique_grid(12, 10, 4)), folder.path(), options);
  const std::string bytes = test::read_bytes(files[1]);
  std::mt19937 random(static_cast<unsigned>(GetParam()) + 1);
  for (int trial = 0; trial < 150; ++trial) {
    std::string broken = bytes;
    for (int flips = 1 + trial % 4; flips > 0; --flips) {
      const std::size_t at = random() % bytes.size();
      broken[at] = static_cast<char>(broken[at] ^ 1 << random() % 8);
    }
    test::write_bytes(files[1], broken);
    expect_no_crash(folder.path());
  }
}

TEST_P(IntakeBroken, FlippedBitsInAnEnhancedFileNeverCrash) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.coding = GetParam();
  write_enhanced_ct(formula_volume(oblique_grid(12, 10, 4)), folder / "e.dcm", options);
  const std::string bytes = test::read_bytes(folder / "e.dcm");
  std::mt19937 random(static_cast<unsigned>(GetParam()) + 100);
  for (int trial = 0; trial < 100; ++trial) {
    std::string broken = bytes;
    for (int flips = 1 + trial % 4; flips > 0; --flips) {
      const std::size_t at = random() % bytes.size();
      broken[at] = static_cast<char>(broken[at] ^ 1 << random() % 8);
    }
    test::write_bytes(folder / "e.dcm", broken);
    expect_no_crash(folder / "e.dcm");
  }
}

std::string coding_name(const testing::TestParamInfo<Coding>& coding) {
  constexpr const char* kNames[] = {"Implicit", "Explicit",     "BigEndian", "Deflated",
                                    "Rle",      "JpegLossless", "JpegLs",    "Jpeg2000"};
  return kNames[static_cast<int>(coding.param)];
}

INSTANTIATE_TEST_SUITE_P(Codings, IntakeBroken, testing::ValuesIn(kCodings), coding_name);

class VolumeFileBroken : public testing::TestWithParam<const char*> {};

TEST_P(VolumeFileBroken, FlippedBitsNeverCrash) {
  const ScratchFolder folder;
  const auto path = folder / (std::string("hu") + GetParam());
  write_hu(formula_volume(oblique_grid(12, 10, 4)), path);
  const std::string bytes = test::read_bytes(path);
  std::mt19937 random(7);
  for (int trial = 0; trial < 300; ++trial) {
    std::string broken = bytes;
    const std::size_t at = random() % (trial % 2 ? bytes.size() : std::min<std::size_t>(bytes.size(), 352));
    broken[at] = static_cast<char>(broken[at] ^ 1 << random() % 8);
    test::write_bytes(path, broken);
    expect_no_crash(path);
  }
}

INSTANTIATE_TEST_SUITE_P(Formats, VolumeFileBroken, testing::Values(".nrrd", ".nii", ".nii.gz", ".mha"),
                         [](const auto& format) {
                           std::string name = format.param;
                           std::erase(name, '.');
                           return name;
                         });

TEST(IntakeBrokenFolder, AbsurdSizesAreRefusedAtOnce) {
  const ScratchFolder folder;
  for (const auto& file : write_ct_series(truth(), folder.path())) {
    test::replace_element(file, 0x0028, 0x0010, test::element(0x0028, 0x0010, "US", test::word_value(65535)));
    test::replace_element(file, 0x0028, 0x0011, test::element(0x0028, 0x0011, "US", test::word_value(65535)));
  }
  const auto start = std::chrono::steady_clock::now();
  EXPECT_THAT(refusal(folder.path()), HasSubstr("cut short"));
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(2));
}

TEST(IntakeBrokenFolder, ABrokenHeaderIsToldWithItsFile) {
  const ScratchFolder folder;
  const auto files = write_ct_series(truth(), folder.path());
  test::write_bytes(files[3], test::read_bytes(files[3]).substr(0, 300));
  const Inspection inspection = inspect(folder.path());
  EXPECT_THAT(texts(inspection.findings) + texts(inspection.series.front().findings), HasSubstr("IM0000003.dcm"));
  EXPECT_FALSE(inspection.series.front().usable);   // the slice is missing
}

TEST(IntakeBrokenFolder, AnEndlessSequenceIsRefused) {
  const ScratchFolder folder;
  std::string bytes(128, '\0');
  bytes += "DICM" + test::element(0x0002, 0x0010, "UI", "1.2.840.10008.1.2.1");
  for (int n = 0; n < 4000; ++n)   // sequences within sequences
    bytes += test::word_value(0x5200) + test::word_value(0x9230) + std::string("SQ\0\0\xff\xff\xff\xff", 8) +
             std::string("\xfe\xff\x00\xe0\xff\xff\xff\xff", 8);
  test::write_bytes(folder / "deep.dcm", bytes);
  EXPECT_THAT(refusal(folder / "deep.dcm"), HasSubstr("nested too deep"));
}

TEST(IntakeBrokenFolder, ManySmallFilesAreScannedInSeconds) {
  const ScratchFolder folder;
  const auto files = write_ct_series(formula_volume(oblique_grid(4, 4, 5)), folder / "ct");
  std::filesystem::create_directories(folder / "many");
  const std::string bytes = test::read_bytes(files[0]);
  for (int n = 0; n < 20000; ++n)
    test::write_bytes(folder / ("many/" + std::to_string(n)), n % 2 ? "no image" : bytes.substr(0, 200));
  const auto start = std::chrono::steady_clock::now();
  std::vector<InspectionSoFar> told;
  const Inspection inspection = inspect(folder.path(), [&](const InspectionSoFar& so_far) { told.push_back(so_far); });
  EXPECT_LT(std::chrono::steady_clock::now() - start, std::chrono::seconds(10));
  EXPECT_EQ(inspection.series.size(), 1u);
  EXPECT_EQ(inspection.non_image_files, 10000);
  ASSERT_GT(told.size(), 1u);   // while it was under way, too
  for (std::size_t n = 1; n < told.size(); ++n) {
    EXPECT_GE(told[n].files, told[n - 1].files);
    EXPECT_GE(told[n].read, told[n - 1].read);
  }
  EXPECT_LT(told.front().read, told.back().read);
}

TEST(IntakeBrokenFolder, UnreadableFilesAreTold) {
  const ScratchFolder folder;
  const auto files = write_ct_series(truth(), folder.path());
  std::filesystem::permissions(files[2], std::filesystem::perms::none);
  if (std::ifstream(files[2])) GTEST_SKIP() << "whoever runs this may read everything";
  EXPECT_THAT(texts(inspect(folder.path()).findings), HasSubstr("cannot be opened"));
}

TEST(IntakeBrokenFolder, CirclesOfLinksEnd) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder / "ct");
  std::filesystem::create_directory_symlink(folder.path(), folder / "ct/again");
  std::filesystem::create_symlink("nowhere", folder / "ct/dangling");
  EXPECT_EQ(inspect(folder.path()).series.size(), 1u);
}

}  // namespace
}  // namespace leastharm
