#include <gmock/gmock.h>

#include "imaging/intake.h"
#include "imaging/volume_file.h"
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
using test::truth;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

CtSeriesOptions another(const std::string& seed) {
  CtSeriesOptions options;
  options.seed = seed;
  return options;
}

/// The uid of the only series of a folder.
std::string uid_in(const std::filesystem::path& folder) { return only_series(folder).uid; }

TEST(IntakeSorting, ListsSeriesByUid) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder / "a", another("first"));
  write_ct_series(truth(), folder / "b", another("second"));
  const Inspection inspection = inspect(folder.path());
  ASSERT_EQ(inspection.series.size(), 2u);
  EXPECT_LT(inspection.series[0].uid, inspection.series[1].uid);
  for (const Series& series : inspection.series) {
    EXPECT_TRUE(series.usable);
    EXPECT_EQ(series.modality, "CT");
    EXPECT_EQ(series.slices, 11);
  }
}

TEST(IntakeSorting, TellsWhatItFindsOnTheWay) {
  const ScratchFolder folder;
  const auto files = write_ct_series(truth(), folder / "ct");
  CtSeriesOptions overview = another("overview");
  overview.image_type = "ORIGINAL\\PRIMARY\\LOCALIZER";
  write_ct_series(truth(), folder / "overview", overview);
  test::write_bytes(files[3], test::read_bytes(files[3]).substr(0, 300));
  test::write_bytes(folder / "notes.txt", "no image");
  InspectionSoFar last;
  const Inspection inspection = inspect(folder.path(), [&](const InspectionSoFar& so_far) { last = so_far; });
  EXPECT_EQ(last.files, 23u);
  EXPECT_EQ(last.read, 23u);
  ASSERT_EQ(last.series.size(), 1u);
  EXPECT_EQ(last.series.begin()->second.modality, "CT");
  EXPECT_EQ(last.series.begin()->second.images, 10u);
  EXPECT_THAT(last.set_aside, testing::Contains(HasSubstr("11 images set aside")));
  EXPECT_EQ(inspection.non_image_files, 1);
}

TEST(IntakeSorting, StopsWhereItsWatcherThrows) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder.path());
  EXPECT_THROW((void)inspect(folder.path(), [](const InspectionSoFar&) { throw BadInput("no more"); }), BadInput);
}

TEST(IntakeSorting, NamesTheChoiceWhereThereAreSeveral) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder / "a", another("first"));
  write_ct_series(truth(), folder / "b", another("second"));
  const std::string first = uid_in(folder / "a"), second = uid_in(folder / "b");
  EXPECT_THAT(refusal(folder.path()), AllOf(HasSubstr("several volumes"), HasSubstr(first), HasSubstr(second)));
  IntakeOptions options;
  options.series_uid = second;
  EXPECT_EQ(read_ct(folder.path(), options).series_uid, second);
  options.series_uid = "1.2.3";
  EXPECT_THAT(refusal(folder.path(), options), AllOf(HasSubstr("no series 1.2.3"), HasSubstr(first)));
}

struct Split {
  const char* name;
  void (*change)(int slice, SliceTags& tags);
};

class IntakeSplit : public testing::TestWithParam<Split> {};

// One series that holds two volumes: the second half of its slices, moved back beside the first, differs in one thing.
TEST_P(IntakeSplit, MakesTwoVolumesOfOneSeries) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) {
    if (slice >= 6) GetParam().change(slice, tags);
  };
  write_ct_series(formula_volume(oblique_grid(23, 17, 12)), folder.path(), options);
  const Inspection inspection = inspect(folder.path());
  ASSERT_EQ(inspection.series.size(), 2u);
  EXPECT_EQ(inspection.series[0].uid, phantom::uid_from(options.seed + "/series") + "#1");
  EXPECT_EQ(inspection.series[1].uid, phantom::uid_from(options.seed + "/series") + "#2");
  for (const Series& series : inspection.series) {
    EXPECT_TRUE(series.usable) << texts(series.findings);
    EXPECT_EQ(series.slices, 6);
  }
}

INSTANTIATE_TEST_SUITE_P(
    By, IntakeSplit,
    testing::Values(Split{"Kernel", [](int, SliceTags& tags) { tags.kernel = "SHARP"; }},
                    Split{"Energy", [](int, SliceTags& tags) { tags.kvp = 80; }},
                    Split{"Orientation",
                          [](int, SliceTags& tags) {
                            const Vec3 normal = tags.row.cross(tags.column);
                            tags.row = tags.column;
                            tags.column = normal;
                            tags.position_lps_mm = tags.row.cross(tags.column) * tags.instance_number;
                          }},
                    Split{"FrameOfReference", [](int, SliceTags& tags) { tags.frame_of_reference_uid = "2.25.7"; }}),
    [](const auto& split) { return split.param.name; });

TEST(IntakeSorting, TakesAnotherKernelAtTheSamePlacesAsAnotherVolume) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  write_ct_series(truth(), folder / "soft", options);
  options.kernel = "SHARP";
  auto sharp = truth();
  for (auto& hu : sharp.values) ++hu;
  write_ct_series(sharp, folder / "sharp", options);
  const Inspection inspection = inspect(folder.path());
  ASSERT_EQ(inspection.series.size(), 2u);
  IntakeOptions choice;
  choice.series_uid = inspection.series[0].uid;   // by kernel: SHARP before STANDARD
  const CtVolume ct = read_ct(folder.path(), choice);
  EXPECT_EQ(ct.facts.at("kernel"), "SHARP");
  EXPECT_EQ(ct.hu.values, sharp.values);
}

TEST(IntakeSorting, DoesNotDependOnFileNames) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) { tags.kernel = slice % 2 ? "A" : "B"; };
  write_ct_series(formula_volume(oblique_grid(23, 17, 12)), folder / "one", options);
  options.shuffled_names = true;
  write_ct_series(formula_volume(oblique_grid(23, 17, 12)), folder / "two", options);
  IntakeOptions choice;
  choice.series_uid = phantom::uid_from(options.seed + "/series") + "#1";
  EXPECT_EQ(read_ct(folder / "one", choice).sha256, read_ct(folder / "two", choice).sha256);
}

TEST(IntakeSorting, SetsLocalizersAsideWithinASeries) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) {
    if (slice < 2) {
      tags.image_type = "ORIGINAL\\PRIMARY\\LOCALIZER";
      std::swap(tags.row, tags.column);
    }
  };
  write_ct_series(formula_volume(oblique_grid(23, 17, 12)), folder.path(), options);
  const Series series = only_series(folder.path());
  EXPECT_TRUE(series.usable);
  EXPECT_EQ(series.uid, phantom::uid_from(options.seed + "/series"));
  EXPECT_EQ(series.slices, 10);
  EXPECT_THAT(texts(series.findings), HasSubstr("note: 2 images set aside: a localizer"));
}

struct Kind {
  const char* name;
  const char* sop_class;
  const char* modality;
  const char* expected;
};

class IntakeKind : public testing::TestWithParam<Kind> {};

TEST_P(IntakeKind, IsSetAsideWithTheReason) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder / "ct");
  for (const auto& file : write_ct_series(truth(), folder / "other", another("other")))
    test::set_kind(file, GetParam().sop_class, GetParam().modality);
  const Series series = only_series(folder / "other");
  EXPECT_FALSE(series.usable);
  EXPECT_EQ(series.modality, GetParam().modality);
  EXPECT_THAT(texts(series.findings), HasSubstr(std::string("refused: 11 images set aside: ") + GetParam().expected));
  EXPECT_THAT(refusal(folder / "other"), HasSubstr(GetParam().expected));
  EXPECT_EQ(read_ct(folder.path()).series_uid, uid_in(folder / "ct"));   // not in the CT's way
}

// Storage classes: PS3.6, Annex A.
INSTANTIATE_TEST_SUITE_P(
    Of, IntakeKind,
    testing::Values(Kind{"Mr", "1.2.840.10008.5.1.4.1.1.4", "MR", "not CT (modality MR)"},
                    Kind{"Pet", "1.2.840.10008.5.1.4.1.1.128", "PT", "not CT (modality PT)"},
                    Kind{"SecondaryCapture", "1.2.840.10008.5.1.4.1.1.7", "CT", "a secondary capture"},
                    Kind{"DoseReport", "1.2.840.10008.5.1.4.1.1.88.67", "SR", "a report"},
                    Kind{"RtDose", "1.2.840.10008.5.1.4.1.1.481.2", "RTDOSE", "a radiotherapy object"},
                    Kind{"MrInCtClass", "1.2.840.10008.5.1.4.1.1.2", "MR", "not CT (modality MR)"}),
    [](const auto& kind) { return kind.param.name; });

TEST(IntakeSorting, SetsPicturesOfScreensInCtClassAside) {
  const ScratchFolder folder;
  for (const auto& file : write_ct_series(truth(), folder.path())) {
    test::replace_element(file, 0x0020, 0x0032, "");
    test::replace_element(file, 0x0020, 0x0037, "");
  }
  EXPECT_THAT(texts(only_series(folder.path()).findings), HasSubstr("no sound position or orientation"));
}

struct Meaning {
  const char* name;
  std::uint16_t group, number;
  const char* vr;
  const char* value;
  const char* expected;
};

class IntakeMeaning : public testing::TestWithParam<Meaning> {};

TEST_P(IntakeMeaning, IsRefusedWithTheReason) {
  const ScratchFolder folder;
  const Meaning& m = GetParam();
  for (const auto& file : write_ct_series(truth(), folder.path()))
    test::replace_element(file, m.group, m.number,
                          std::string(m.vr).empty() ? "" : test::element(m.group, m.number, m.vr, m.value));
  const Series series = only_series(folder.path());
  EXPECT_FALSE(series.usable);
  EXPECT_THAT(refusal(folder.path()), HasSubstr(m.expected));
}

INSTANTIATE_TEST_SUITE_P(
    Of, IntakeMeaning,
    testing::Values(Meaning{"ElectronDensity", 0x0028, 0x1054, "LO", "ED", "values of type ED, not HU"},
                    Meaning{"Unspecified", 0x0028, 0x1054, "LO", "US", "values of type US, not HU"},
                    Meaning{"NoIntercept", 0x0028, 0x1052, "", "", "no sound rescale"},
                    Meaning{"NoSlope", 0x0028, 0x1053, "", "", "no sound rescale"},
                    Meaning{"ZeroSlope", 0x0028, 0x1053, "DS", "0", "no sound rescale"},
                    Meaning{"NanSlope", 0x0028, 0x1053, "DS", "nan", "no sound rescale"},
                    Meaning{"TextSlope", 0x0028, 0x1053, "DS", "one", "no sound rescale"},
                    Meaning{"ZeroSpacing", 0x0028, 0x0030, "DS", "0\\0.7", "pixel spacing"},
                    Meaning{"NegativeSpacing", 0x0028, 0x0030, "DS", "-1\\1", "pixel spacing"},
                    Meaning{"NanSpacing", 0x0028, 0x0030, "DS", "nan\\nan", "pixel spacing"},
                    Meaning{"NoSpacing", 0x0028, 0x0030, "", "", "pixel spacing"},
                    Meaning{"LongOrientation", 0x0020, 0x0037, "DS", "2\\0\\0\\0\\1\\0", "right angles"},
                    Meaning{"SkewOrientation", 0x0020, 0x0037, "DS", "1\\0\\0\\0.6\\0.8\\0", "right angles"},
                    Meaning{"FarPosition", 0x0020, 0x0032, "DS", "1e30\\0\\0", "farther than 100 m"},
                    Meaning{"SamePosition", 0x0020, 0x0032, "DS", "1\\2\\3", "two different slices"}),
    [](const auto& meaning) { return meaning.param.name; });

TEST(IntakeSorting, TakesARescaleWithoutType) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.rescale_type = "";
  write_ct_series(truth(), folder.path(), options);
  EXPECT_EQ(read_ct(folder.path()).hu.values, truth().values);
}

// The tag speaks of how a living patient was to lie; what it says of an object is anyone's guess.
TEST(IntakeSorting, TakesNoNoticeOfPosture) {
  for (const char* posture : {"FFS", "HFP", "FFP", "HFDR", ""}) {
    const ScratchFolder folder;
    CtSeriesOptions options;
    options.patient_position = posture;
    write_ct_series(truth(), folder.path(), options);
    const CtVolume ct = read_ct(folder.path());
    EXPECT_TRUE(same_grid(ct.hu.grid, truth().grid, 1e-6)) << posture;
    EXPECT_EQ(ct.hu.values, truth().values) << posture;
  }
}

TEST(IntakeSorting, TellsOfCompressionWithLoss) {
  const ScratchFolder folder;
  for (const auto& file : write_ct_series(truth(), folder.path()))
    test::replace_element(file, 0x0028, 0x1052,
                          test::element(0x0028, 0x1052, "DS", "0") + test::element(0x0028, 0x2110, "CS", "01"));
  EXPECT_THAT(texts(only_series(folder.path()).findings), HasSubstr("note: 11 slices were once compressed with loss"));
}

TEST(IntakeSorting, SetsFilesWithoutPixelsAside) {
  const ScratchFolder folder;
  const auto files = write_ct_series(truth(), folder.path());
  for (const auto& file : files) {
    const std::string bytes = test::read_bytes(file);
    test::write_bytes(file, bytes.substr(0, test::find_element(bytes, 0x7fe0, 0x0010)));
  }
  EXPECT_THAT(refusal(folder.path()), HasSubstr("without pixels"));
}

TEST(IntakeSorting, RefusesFewerThanThreeSlices) {
  const ScratchFolder folder;
  const auto files = write_ct_series(formula_volume(oblique_grid(23, 17, 2)), folder.path());
  EXPECT_THAT(refusal(folder.path()), HasSubstr("2 slices make no volume"));
  EXPECT_THAT(refusal(files[0]), HasSubstr("1 slice makes no volume"));
}

TEST(IntakeSorting, SetsOddSlicesBesideAVolumeAside) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) {
    if (slice == 0) tags.kernel = "ODD";
  };
  write_ct_series(truth(), folder.path(), options);
  const Series series = only_series(folder.path());
  EXPECT_EQ(series.slices, 10);
  EXPECT_THAT(texts(series.findings), HasSubstr("note: 1 image set aside: of another"));
}

TEST(IntakeSorting, CountsFilesThatAreNoImages) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder.path());
  test::write_bytes(folder / "README.txt", "no image");
  test::write_bytes(folder / "empty", "");
  test::write_bytes(folder / "short", "DICM");
  const Inspection inspection = inspect(folder.path());
  EXPECT_EQ(inspection.non_image_files, 3);
  EXPECT_EQ(inspection.series.size(), 1u);
}

TEST(IntakeSorting, TellsOfVolumeFilesInAFolder) {
  const ScratchFolder folder;
  write_ct_series(truth(), folder.path());
  write_hu(truth(), folder / "hu.nrrd");
  EXPECT_THAT(texts(inspect(folder.path()).findings), HasSubstr("give its own path"));
}

TEST(IntakeSorting, RefusesAPathWithNothingToRead) {
  const ScratchFolder folder;
  EXPECT_THAT(refusal(folder / "none"), HasSubstr("there is no such file or folder"));
  EXPECT_THROW((void)inspect(folder / "none"), BadInput);
  EXPECT_THAT(refusal(folder.path()), HasSubstr("holds no DICOM image"));
  EXPECT_TRUE(inspect(folder.path()).series.empty());
  test::write_bytes(folder / "text", std::string(500, 'x'));
  EXPECT_THAT(refusal(folder / "text"), HasSubstr("neither DICOM nor NRRD"));
}

class IntakeDicomdir : public testing::Test {
 protected:
  void SetUp() override {
    const auto files = write_ct_series(truth(), folder_ / "CT");
    for (std::size_t n = 0; n < files.size(); ++n) {
      const std::string name = "IM" + std::to_string(n);
      std::filesystem::rename(files[n], folder_ / "CT" / name);
      ids_.push_back("CT\\" + name);
    }
    write_ct_series(truth(), folder_ / "elsewhere", another("other"));
  }
  ScratchFolder folder_;
  std::vector<std::string> ids_;
};

TEST_F(IntakeDicomdir, NamesTheFilesToRead) {
  test::write_dicomdir(folder_ / "DICOMDIR", ids_);
  EXPECT_EQ(read_ct(folder_ / "DICOMDIR").hu.values, truth().values);
}

TEST_F(IntakeDicomdir, MayWriteNamesInOtherLetters) {
  for (std::string& id : ids_) id.replace(0, 5, "ct\\im");
  test::write_dicomdir(folder_ / "DICOMDIR", ids_);
  EXPECT_EQ(read_ct(folder_ / "DICOMDIR").hu.values, truth().values);
}

TEST_F(IntakeDicomdir, WithDanglingNamesGivesWayToTheFolder) {
  ids_.push_back("CT\\IM99");
  test::write_dicomdir(folder_ / "DICOMDIR", ids_);
  const Inspection inspection = inspect(folder_ / "DICOMDIR");
  EXPECT_EQ(inspection.series.size(), 2u);
  EXPECT_THAT(texts(inspection.findings), HasSubstr("mended: the DICOMDIR names 12 files, of which 1 are not there"));
}

TEST_F(IntakeDicomdir, CannotReachOutOfItsFolder) {
  test::write_dicomdir(folder_ / "CT/DICOMDIR", {"..\\ELSEWHERE\\IM0000000.DCM"});
  const Inspection inspection = inspect(folder_ / "CT/DICOMDIR");
  EXPECT_THAT(texts(inspection.findings), HasSubstr("not there"));
  EXPECT_EQ(inspection.series.size(), 1u);
}

TEST_F(IntakeDicomdir, InAScannedFolderIsPassedOver) {
  test::write_dicomdir(folder_ / "CT/DICOMDIR", ids_);
  const Inspection inspection = inspect(folder_ / "CT");
  EXPECT_EQ(inspection.series.size(), 1u);
  EXPECT_EQ(inspection.non_image_files, 1);
}

TEST(IntakeSorting, SplitsAnEnhancedFileByOrientationAndKernel) {
  const ScratchFolder folder;
  CtSeriesOptions options;
  options.change = [](int slice, SliceTags& tags) { tags.kernel = slice < 5 ? "A" : "B"; };
  write_enhanced_ct(truth(), folder / "enhanced.dcm", options);
  const Inspection inspection = inspect(folder / "enhanced.dcm");
  ASSERT_EQ(inspection.series.size(), 2u);
  EXPECT_EQ(inspection.series[0].slices, 5);
  EXPECT_EQ(inspection.series[1].slices, 6);
}

}  // namespace
}  // namespace leastharm
