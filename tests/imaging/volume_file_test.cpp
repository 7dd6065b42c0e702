#include "imaging/volume_file.h"

#include <gmock/gmock.h>
#include <zlib.h>

#include <cstring>

#include "imaging/error.h"
#include "imaging/intake.h"
#include "support/file_bytes.h"
#include "support/findings.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using test::oblique_grid;
using test::read_bytes;
using test::ScratchFolder;
using test::write_bytes;
using testing::HasSubstr;
using testing::Not;

Volume<std::uint8_t> labels_by_formula(const Grid& grid) {
  Volume<std::uint8_t> labels{grid, std::vector<std::uint8_t>(grid.voxel_count())};
  for (std::size_t n = 0; n < labels.values.size(); ++n)
    labels.values[n] = static_cast<std::uint8_t>(n * 7 % 8);
  return labels;
}

template <typename T>
T value_at(const std::string& bytes, std::size_t at) {
  T value;
  std::memcpy(&value, bytes.data() + at, sizeof value);
  return value;
}

template <typename T>
void put_at(std::string& bytes, std::size_t at, T value) {
  std::memcpy(bytes.data() + at, &value, sizeof value);
}

std::string refusal(const std::filesystem::path& path) {
  try {
    (void)read_labels(path);
  } catch (const BadInput& error) {
    return error.what();
  }
  return "read";
}

class VolumeFileFormat : public testing::TestWithParam<const char*> {};

TEST_P(VolumeFileFormat, GivesLabelsAndGridBackThatItTook) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid());
  const auto path = folder / (std::string("labels") + GetParam());
  write_labels(labels, path);
  const auto again = read_labels(path);
  EXPECT_TRUE(same_grid(again.grid, labels.grid, 1e-4));
  EXPECT_EQ(again.values, labels.values);
}

TEST_P(VolumeFileFormat, GivesHuAndGridBackThatItTook) {
  const ScratchFolder folder;
  auto hu = test::formula_volume(oblique_grid());
  hu.values[5] = kNoReadingHu;
  hu.values[6] = 32767;
  const auto path = folder / (std::string("hu") + GetParam());
  write_hu(hu, path);
  const auto again = read_ct(path);
  EXPECT_TRUE(same_grid(again.hu.grid, hu.grid, 1e-4));
  EXPECT_EQ(again.hu.values, hu.values);
}

TEST_P(VolumeFileFormat, WritesTheSameBytesEveryTime) {
  const ScratchFolder folder;
  const auto hu = test::formula_volume(oblique_grid());
  const std::string ending = GetParam();
  write_hu(hu, folder / ("one" + ending));
  write_hu(hu, folder / ("two" + ending));
  EXPECT_EQ(read_bytes(folder / ("one" + ending)), read_bytes(folder / ("two" + ending)));
}

TEST_P(VolumeFileFormat, IsRefusedWhenCutShort) {
  const ScratchFolder folder;
  const std::string ending = GetParam();
  const auto path = folder / ("labels" + ending);
  write_labels(labels_by_formula(oblique_grid()), path);
  const std::string bytes = read_bytes(path);
  for (const double part : {0.0, 0.1, 0.5, 0.9}) {
    write_bytes(path, bytes.substr(0, static_cast<std::size_t>(part * static_cast<double>(bytes.size()))));
    EXPECT_THROW((void)read_labels(path), BadInput) << ending << " " << part;
  }
}

TEST_P(VolumeFileFormat, LeavesNothingBehindWhereTheFolderDoesNotExist) {
  const ScratchFolder folder;
  const auto path = folder.path() / "none" / (std::string("labels") + GetParam());
  EXPECT_THROW(write_labels(labels_by_formula(oblique_grid()), path), BadInput);
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

INSTANTIATE_TEST_SUITE_P(Formats, VolumeFileFormat, testing::Values(".nrrd", ".nii", ".nii.gz", ".mha"),
                         [](const auto& format) {
                           std::string name = format.param;
                           std::erase(name, '.');
                           return name;
                         });

// NRRD format, version 4: a blank line ends the header; the space is named in full.
TEST(VolumeFile, WritesNrrdInLpsWithStandardFieldsOnly) {
  const ScratchFolder folder;
  write_labels(labels_by_formula(oblique_grid()), folder / "labels.nrrd");
  const std::string bytes = read_bytes(folder / "labels.nrrd");
  const std::string header = bytes.substr(0, bytes.find("\n\n"));
  EXPECT_THAT(header, HasSubstr("\nspace: left-posterior-superior"));
  EXPECT_THAT(header, HasSubstr("\nsizes: 23 17 11"));
  EXPECT_THAT(header, HasSubstr("\ntype: unsigned char"));
  EXPECT_THAT(header, Not(HasSubstr(":=")));
  EXPECT_THAT(header, Not(HasSubstr("#")));
}

// Blocks packed side by side must still be one ordinary gzip member: zlib itself reads it back.
TEST(VolumeFile, PacksLargeNrrdAsOneGzipMember) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(256, 256, 41));
  write_labels(labels, folder / "large.nrrd");
  const std::string bytes = read_bytes(folder / "large.nrrd");
  const std::string packed = bytes.substr(bytes.find("\n\n") + 2);
  std::vector<std::uint8_t> values(labels.values.size() + 1);
  z_stream stream{};
  ASSERT_EQ(inflateInit2(&stream, 15 + 16), Z_OK);   // gzip only, one member
  stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(packed.data()));
  stream.avail_in = static_cast<uInt>(packed.size());
  stream.next_out = values.data();
  stream.avail_out = static_cast<uInt>(values.size());
  EXPECT_EQ(inflate(&stream, Z_FINISH), Z_STREAM_END);
  EXPECT_EQ(stream.avail_in, 0u);
  EXPECT_EQ(stream.total_out, labels.values.size());
  inflateEnd(&stream);
  values.pop_back();
  EXPECT_EQ(values, labels.values);
}

// nifti1.h: sform rows at byte 280, RAS+ (x and y are turned against LPS), millimetres = 2 in xyzt_units.
TEST(VolumeFile, WritesNiftiInRasMillimetres) {
  const ScratchFolder folder;
  const Grid grid = oblique_grid();
  write_labels(labels_by_formula(grid), folder / "labels.nii");
  const std::string bytes = read_bytes(folder / "labels.nii");
  EXPECT_EQ(bytes[123] & 7, 2);
  EXPECT_GT(value_at<std::int16_t>(bytes, 254), 0);
  for (std::size_t row = 0; row < 3; ++row) {
    const double turn = row < 2 ? -1 : 1;
    const int r = static_cast<int>(row);
    for (std::size_t column = 0; column < 3; ++column) {
      const int c = static_cast<int>(column);
      EXPECT_NEAR(value_at<float>(bytes, 280 + 16 * row + 4 * column),
                  turn * grid.direction(r, c) * grid.spacing_mm[c], 1e-6);
    }
    EXPECT_NEAR(value_at<float>(bytes, 292 + 16 * row), turn * grid.origin_lps_mm[r], 1e-4);
  }
}

class NiftiOrientation : public testing::Test {
 protected:
  void SetUp() override {
    write_labels(labels_by_formula(oblique_grid()), path_);
    bytes_ = read_bytes(path_);
  }
  ScratchFolder folder_;
  std::filesystem::path path_ = folder_ / "labels.nii";
  std::string bytes_;
};

TEST_F(NiftiOrientation, IsRefusedWhereQformAndSformDisagree) {
  put_at(bytes_, 292, value_at<float>(bytes_, 292) + 1.0f);
  put_at<std::int16_t>(bytes_, 252, 1);
  put_at<std::int16_t>(bytes_, 254, 1);
  write_bytes(path_, bytes_);
  EXPECT_THAT(refusal(path_), HasSubstr("disagree by 1.0"));
}

TEST_F(NiftiOrientation, IsRefusedWhereNoneIsSet) {
  put_at<std::int16_t>(bytes_, 252, 0);
  put_at<std::int16_t>(bytes_, 254, 0);
  write_bytes(path_, bytes_);
  EXPECT_THAT(refusal(path_), HasSubstr("left and right are unknown"));
}

TEST_F(NiftiOrientation, IsToldWhereTheUnitIsUnknown) {
  bytes_[123] = 0;
  write_bytes(path_, bytes_);
  EXPECT_TRUE(same_grid(read_labels(path_).grid, oblique_grid(), 1e-4));
  const Inspection found = inspect(path_);
  ASSERT_EQ(found.series.size(), 1u);
  EXPECT_TRUE(found.series.front().usable);
  EXPECT_THAT(test::texts(found.series.front().findings), HasSubstr("names no unit of length"));
}

TEST(VolumeFile, ConvertsNrrdInRas) {
  const ScratchFolder folder;
  const std::string voxels(24, '\3');
  write_bytes(folder / "ras.nrrd",
              "NRRD0004\ntype: unsigned char\ndimension: 3\nspace: right-anterior-superior\nsizes: 2 3 4\n"
              "space directions: (-2,0,0) (0,-3,0) (0,0,4)\nencoding: raw\nspace origin: (10,20,30)\n\n" + voxels);
  const auto labels = read_labels(folder / "ras.nrrd");
  EXPECT_EQ(labels.grid.origin_lps_mm, Vec3(-10, -20, 30));
  EXPECT_EQ(labels.grid.spacing_mm, Vec3(2, 3, 4));
  EXPECT_TRUE(labels.grid.direction.isApprox(Mat3::Identity()));
}

// LAS with axes that run the other way: left-handed in the file, in LPS all the same.
TEST(VolumeFile, ConvertsNrrdInLas) {
  const ScratchFolder folder;
  std::string voxels(24, '\0');
  voxels[1] = 7;   // one step along i from the origin, in the file
  write_bytes(folder / "las.nrrd",
              "NRRD0004\ntype: unsigned char\ndimension: 3\nspace: left-anterior-superior\nsizes: 2 3 4\n"
              "space directions: (2,0,0) (0,3,0) (0,0,4)\nencoding: raw\nspace origin: (10,20,30)\n\n" + voxels);
  const auto labels = read_labels(folder / "las.nrrd");
  EXPECT_GT(labels.grid.direction.determinant(), 0);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({12, -20, 30})), 7);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({10, -20, 30})), 0);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({12, -26, 42})), 0);
}

// Its matrix counts, not the letters of AnatomicalOrientation, which name the same axes or contradict it.
TEST(VolumeFile, TakesMetaImageWithTurnedAxes) {
  const ScratchFolder folder;
  std::string voxels(24, '\0');
  voxels[1] = 7;   // one step along i, two along j
  voxels[4] = 8;
  write_bytes(folder / "turned.mha",
              "ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\nCompressedData = False\n"
              "TransformMatrix = 0 1 0 1 0 0 0 0 -1\nOffset = 10 20 30\nAnatomicalOrientation = RAI\n"
              "ElementSpacing = 2 3 4\nDimSize = 2 3 4\nElementType = MET_UCHAR\nElementDataFile = LOCAL\n" + voxels);
  const auto labels = read_labels(folder / "turned.mha");
  EXPECT_EQ(labels.at(labels.grid.voxel_at({10, 22, 30})), 7);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({16, 20, 30})), 8);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({10, 20, 18})), 0);
  EXPECT_TRUE(labels.grid.contains(labels.grid.voxel_at({10, 20, 18})));
}

TEST(VolumeFile, TurnsLeftHandedSlicesAround) {
  const ScratchFolder folder;
  std::string voxels(8, '\0');
  voxels[0] = 1;   // first in the file, highest along z
  write_bytes(folder / "left.nrrd",
              "NRRD0004\ntype: unsigned char\ndimension: 3\nspace: left-posterior-superior\nsizes: 2 2 2\n"
              "space directions: (1,0,0) (0,1,0) (0,0,-5)\nencoding: raw\nspace origin: (0,0,100)\n\n" + voxels);
  const auto labels = read_labels(folder / "left.nrrd");
  EXPECT_GT(labels.grid.direction.determinant(), 0);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({0, 0, 100})), 1);
  EXPECT_EQ(labels.at(labels.grid.voxel_at({0, 0, 95})), 0);
}

struct BadHeader {
  const char* what;
  const char* lines;
  const char* expected;
};

class NrrdHeader : public testing::TestWithParam<BadHeader> {};

TEST_P(NrrdHeader, IsRefusedWithTheReason) {
  const ScratchFolder folder;
  write_bytes(folder / "bad.nrrd", std::string("NRRD0004\ntype: unsigned char\ndimension: 3\nencoding: raw\n") +
                                       GetParam().lines + "\n" + std::string(64, '\1'));
  EXPECT_THAT(refusal(folder / "bad.nrrd"), HasSubstr(GetParam().expected)) << GetParam().what;
}

INSTANTIATE_TEST_SUITE_P(
    Faults, NrrdHeader,
    testing::Values(
        BadHeader{"NoSpace", "sizes: 4 4 4\nspacings: 1 1 1\n", "left and right are unknown"},
        BadHeader{"Shear",
                  "space: left-posterior-superior\nsizes: 4 4 4\nspace directions: (1,0,0) (0.3,1,0) (0,0,1)\n"
                  "space origin: (0,0,0)\n",
                  "not at right angles"},
        BadHeader{"ZeroSpacing",
                  "space: left-posterior-superior\nsizes: 4 4 4\nspace directions: (0,0,0) (0,1,0) (0,0,1)\n"
                  "space origin: (0,0,0)\n",
                  "bad.nrrd"},
        BadHeader{"NanSpacing",
                  "space: left-posterior-superior\nsizes: 4 4 4\nspace directions: (nan,0,0) (0,1,0) (0,0,1)\n"
                  "space origin: (0,0,0)\n",
                  "bad.nrrd"},
        BadHeader{"AbsurdSize",
                  "space: left-posterior-superior\nsizes: 60000 60000 60000\n"
                  "space directions: (1,0,0) (0,1,0) (0,0,1)\nspace origin: (0,0,0)\n",
                  "more voxels than memory holds"},
        BadHeader{"TooManyVoxels",
                  "space: left-posterior-superior\nsizes: 400 400 40\n"
                  "space directions: (1,0,0) (0,1,0) (0,0,1)\nspace origin: (0,0,0)\n",
                  "cut short"}),
    [](const auto& fault) { return fault.param.what; });

TEST(VolumeFile, RefusesLabelsAbove255) {
  const ScratchFolder folder;
  write_hu(test::formula_volume(oblique_grid()), folder / "hu.nrrd");
  EXPECT_THAT(refusal(folder / "hu.nrrd"), HasSubstr("whole numbers from 0 to 255"));
}

}  // namespace
}  // namespace leastharm
