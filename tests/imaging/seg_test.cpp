// DICOM segmentations: what others write is read onto the CT's grid; what we write is read back, and held valid.
#include <gmock/gmock.h>

#include <cstdlib>
#include <random>

#include "imaging/error.h"
#include "imaging/material.h"
#include "imaging/seg_file.h"
#include "imaging/volume_file.h"
#include "support/seg_bytes.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using test::oblique_grid;
using test::ScratchFolder;
using test::SegBytes;
using testing::HasSubstr;

Volume<std::uint8_t> labels_by_formula(const Grid& grid, int count) {
  Volume<std::uint8_t> labels{grid, std::vector<std::uint8_t>(grid.voxel_count())};
  for (std::size_t n = 0; n < labels.values.size(); ++n)
    labels.values[n] = static_cast<std::uint8_t>(n * 2654435761u % 97 % (static_cast<unsigned>(count) + 1));
  return labels;
}

/// Every plane of every label of a part of the volume, from voxel `corner` on, in mixed order.
SegBytes frames_of(const Volume<std::uint8_t>& labels, VoxelIndex corner, std::array<int, 3> size, int count) {
  const Grid& grid = labels.grid;
  SegBytes seg{.columns = size[0], .rows = size[1], .column_spacing_mm = grid.spacing_mm.x(),
               .row_spacing_mm = grid.spacing_mm.y(), .row = grid.direction.col(0), .column = grid.direction.col(1)};
  seg.segments.assign(static_cast<std::size_t>(count), "piece");
  for (int label = 1; label <= count; ++label)
    for (int k = corner.k; k < corner.k + size[2]; ++k) {
      test::SegFrame frame{grid.lps_from_index({double(corner.i), double(corner.j), double(k)}),
                           static_cast<std::uint16_t>(label), {}};
      for (int j = corner.j; j < corner.j + size[1]; ++j)
        for (int i = corner.i; i < corner.i + size[0]; ++i) frame.pixels.push_back(labels.at({i, j, k}) == label);
      seg.frames.push_back(frame);
    }
  std::shuffle(seg.frames.begin(), seg.frames.end(), std::mt19937(3));
  return seg;
}

std::string refusal(const std::filesystem::path& path, const Grid& grid) {
  try {
    (void)read_labels(path, grid);
  } catch (const BadInput& error) {
    return error.what();
  }
  return "read";
}

class SegKind : public testing::TestWithParam<bool> {};

TEST_P(SegKind, IsReadWhateverTheOrderOfItsFrames) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 3);
  SegBytes seg = frames_of(labels, {0, 0, 0}, labels.grid.size, 3);
  seg.fractional = GetParam();
  seg.write(folder / "seg.dcm");
  EXPECT_EQ(read_labels(folder / "seg.dcm", labels.grid).values, labels.values);
}

// Writers crop columns, rows and planes; what they leave out is no label. 7 x 5 pixels: no frame ends with a byte.
TEST_P(SegKind, MayHoldAPartOfTheGrid) {
  const ScratchFolder folder;
  auto labels = labels_by_formula(oblique_grid(), 2);
  SegBytes seg = frames_of(labels, {4, 6, 3}, {7, 5, 4}, 2);
  seg.fractional = GetParam();
  std::erase_if(seg.frames, [&](const test::SegFrame& f) { return labels.grid.voxel_at(f.first_pixel_lps_mm).k == 5; });
  seg.write(folder / "seg.dcm");
  for (int k = 0; k < 11; ++k)
    for (int j = 0; j < 17; ++j)
      for (int i = 0; i < 23; ++i)
        if (i < 4 || i >= 11 || j < 6 || j >= 11 || k < 3 || k >= 7 || k == 5) labels.values[labels.grid.offset(i, j, k)] = 0;
  EXPECT_EQ(read_labels(folder / "seg.dcm", labels.grid).values, labels.values);
}

INSTANTIATE_TEST_SUITE_P(Kinds, SegKind, testing::Bool(),
                         [](const auto& kind) { return kind.param ? "Fractional" : "Binary"; });

// The same voxels, drawn on planes that stand across the CT's slices.
TEST(Seg, MayRunAlongOtherAxes) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 1);
  const Grid& grid = labels.grid;
  SegBytes seg{.columns = 17, .rows = 11, .column_spacing_mm = grid.spacing_mm.y(), .row_spacing_mm = grid.spacing_mm.z(),
               .row = grid.direction.col(1), .column = -grid.direction.col(2)};
  for (int i = 0; i < 23; ++i) {
    test::SegFrame frame{grid.lps_from_index({double(i), 0, 10}), 1, {}};
    for (int k = 10; k >= 0; --k)
      for (int j = 0; j < 17; ++j) frame.pixels.push_back(labels.at({i, j, k}));
    seg.frames.push_back(frame);
  }
  seg.write(folder / "seg.dcm");
  EXPECT_EQ(read_labels(folder / "seg.dcm", grid).values, labels.values);
}

TEST(Seg, OfMaterialsByNameGivesTheirLabels) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 2);
  SegBytes seg = frames_of(labels, {0, 0, 0}, labels.grid.size, 2);
  seg.segments = {"Bone", "packing"};
  seg.write(folder / "seg.dcm");
  auto expected = labels.values;
  for (auto& v : expected) v = v == 1 ? 4 : v == 2 ? 3 : 0;
  EXPECT_EQ(read_labels(folder / "seg.dcm", labels.grid).values, expected);
}

TEST(Seg, WhoseSegmentsOverlapIsAMaskButNoLabelMap) {
  const ScratchFolder folder;
  const Grid grid = oblique_grid(4, 4, 3);
  SegBytes seg{.columns = 4, .rows = 4, .column_spacing_mm = grid.spacing_mm.x(), .row_spacing_mm = grid.spacing_mm.y(),
               .row = grid.direction.col(0), .column = grid.direction.col(1), .segments = {"a", "b"}};
  for (const std::uint16_t s : {std::uint16_t{1}, std::uint16_t{2}}) {
    seg.frames.push_back({grid.lps_from_index({0, 0, 1}), s, std::vector<int>(16, 0)});
    seg.frames.back().pixels[5] = seg.frames.back().pixels[s] = 1;
  }
  seg.write(folder / "seg.dcm");
  EXPECT_THAT(refusal(folder / "seg.dcm", grid), HasSubstr("segments overlap"));
  const Mask mask = read_mask(folder / "seg.dcm", grid);
  EXPECT_EQ(mask.voxel_count(), 3u);
  EXPECT_TRUE(mask.contains({1, 1, 1}));
}

TEST(Seg, OnAnotherGridIsRefused) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 1);
  frames_of(labels, {0, 0, 0}, labels.grid.size, 1).write(folder / "seg.dcm");
  Grid coarser = labels.grid, moved = labels.grid, smaller = labels.grid;
  coarser.spacing_mm.x() *= 1.02;
  moved.origin_lps_mm.y() += 0.3;
  smaller.size[2] = 6;
  EXPECT_THAT(refusal(folder / "seg.dcm", coarser), HasSubstr("resample it onto the CT's grid"));
  EXPECT_THAT(refusal(folder / "seg.dcm", moved), HasSubstr("resample it onto the CT's grid"));
  EXPECT_THAT(refusal(folder / "seg.dcm", smaller), HasSubstr("outside the CT"));
}

TEST(Seg, ThatIsBrokenIsRefusedAndNeverCrashes) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(9, 7, 5), 2);
  frames_of(labels, {0, 0, 0}, labels.grid.size, 2).write(folder / "seg.dcm");
  const std::string bytes = test::read_bytes(folder / "seg.dcm");
  test::write_bytes(folder / "seg.dcm", bytes.substr(0, bytes.size() - 20));
  EXPECT_THAT(refusal(folder / "seg.dcm", labels.grid), HasSubstr("copy it again"));
  test::write_bytes(folder / "seg.dcm", "hello");
  EXPECT_THAT(refusal(folder / "seg.dcm", labels.grid), HasSubstr("no DICOM segmentation"));
  std::mt19937 random(11);
  for (int trial = 0; trial < 1500; ++trial) {
    std::string broken = bytes;
    for (int flips = 1 + trial % 4; flips > 0; --flips) {
      const std::size_t at = random() % bytes.size();
      broken[at] = static_cast<char>(broken[at] ^ 1 << random() % 8);
    }
    test::write_bytes(folder / "seg.dcm", broken);
    (void)refusal(folder / "seg.dcm", labels.grid);   // anything but BadInput ends the test
  }
}

std::vector<NamedMask> materials_as_masks(const Volume<std::uint8_t>& labels) {
  std::vector<NamedMask> masks;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    masks.push_back({std::string(kMaterialNames[m]), material_mask(labels, static_cast<Material>(m))});
  return masks;
}

const SegFacts kFacts{.object_id = "INVENTED-1", .frame_of_reference_uid = "2.25.77", .label = "MATERIALS",
                      .software_version = "0", .time = "2026-01-31T12:00:00Z"};

TEST(Seg, ThatWeWriteComesBack) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 7);
  write_dicom_seg(materials_as_masks(labels), kFacts, folder / "seg.dcm");
  EXPECT_EQ(read_labels(folder / "seg.dcm", labels.grid).values, labels.values);
  write_dicom_seg(materials_as_masks(labels), kFacts, folder / "again.dcm");
  EXPECT_EQ(test::read_bytes(folder / "seg.dcm"), test::read_bytes(folder / "again.dcm"));
  EXPECT_THROW(write_dicom_seg({}, kFacts, folder / "none.dcm"), BadInput);
  EXPECT_THROW(write_dicom_seg(materials_as_masks(labels), kFacts, folder / "none/seg.dcm"), BadInput);
}

// dciodvfy of dicom3tools holds a file against PS3.3.
TEST(Seg, ThatWeWriteIsValid) {
  if (std::system("command -v dciodvfy > /dev/null") != 0) GTEST_SKIP() << "dciodvfy (dicom3tools) is not installed";
  const ScratchFolder folder;
  write_dicom_seg(materials_as_masks(labels_by_formula(oblique_grid(), 7)), kFacts, folder / "seg.dcm");
  const std::string command = "dciodvfy " + (folder / "seg.dcm").string() + " > " + (folder / "said").string() + " 2>&1";
  EXPECT_EQ(std::system(command.c_str()), 0);
  const std::string said = test::read_bytes(folder / "said");
  EXPECT_THAT(said, testing::Not(HasSubstr("Error"))) << said;
}

// A mask drawn in a program with other axes: the same voxels, their order turned.
TEST(Seg, MaskFilesMayRunAlongOtherAxesToo) {
  const ScratchFolder folder;
  const auto labels = labels_by_formula(oblique_grid(), 1);
  const Grid& grid = labels.grid;
  Grid turned = grid;
  turned.size = {17, 11, 23};
  turned.spacing_mm = {0.9, 1.25, 0.7};
  turned.direction << -grid.direction.col(1), -grid.direction.col(2), grid.direction.col(0);
  turned.origin_lps_mm = grid.lps_from_index({0, 16, 10});
  Volume<std::uint8_t> other{turned, std::vector<std::uint8_t>(turned.voxel_count())};
  for (int k = 0; k < 23; ++k)
    for (int j = 0; j < 11; ++j)
      for (int i = 0; i < 17; ++i) other.values[turned.offset(i, j, k)] = labels.at({k, 16 - i, 10 - j});
  write_labels(other, folder / "turned.nrrd");
  EXPECT_EQ(read_labels(folder / "turned.nrrd", grid).values, labels.values);
  EXPECT_EQ(labels_from_mask(read_mask(folder / "turned.nrrd", grid)).values, labels.values);
  write_labels({grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)}, folder / "empty.nrrd");
  EXPECT_THROW((void)read_mask(folder / "empty.nrrd", grid), BadInput);
}

}  // namespace
}  // namespace leastharm
