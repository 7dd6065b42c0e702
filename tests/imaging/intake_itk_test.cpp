// The same volume through ITK: what ITK writes is read here as ITK reads it, and what is written here ITK reads.
#include <gtest/gtest.h>
#include <itkGDCMImageIO.h>
#include <itkGDCMSeriesFileNames.h>
#include <itkImage.h>
#include <itkImageFileReader.h>
#include <itkImageFileWriter.h>
#include <itkImageSeriesReader.h>
#include <itkMetaImageIO.h>
#include <itkNiftiImageIO.h>
#include <itkNrrdImageIO.h>

#include "imaging/intake.h"
#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

using Image = itk::Image<std::int16_t, 3>;
using test::formula_volume;
using test::oblique_grid;
using test::ScratchFolder;

itk::ImageIOBase::Pointer io_for(const std::string& ending) {
  if (ending == ".nrrd") return itk::NrrdImageIO::New().GetPointer();
  if (ending == ".mha") return itk::MetaImageIO::New().GetPointer();
  return itk::NiftiImageIO::New().GetPointer();
}

Image::Pointer itk_image(const Volume<std::int16_t>& volume) {
  const auto image = Image::New();
  const Grid& grid = volume.grid;
  Image::SizeType size;
  Image::DirectionType direction;
  for (unsigned n = 0; n < 3; ++n) {
    size[n] = static_cast<itk::SizeValueType>(grid.size[n]);
    for (unsigned m = 0; m < 3; ++m) direction(n, m) = grid.direction(n, m);
  }
  image->SetRegions(size);
  image->SetSpacing(grid.spacing_mm.data());
  image->SetOrigin(grid.origin_lps_mm.data());
  image->SetDirection(direction);
  image->Allocate();
  std::copy(volume.values.begin(), volume.values.end(), image->GetBufferPointer());
  return image;
}

void expect_same(const Image& image, const Volume<std::int16_t>& ours) {
  Grid grid;
  for (unsigned n = 0; n < 3; ++n) {
    grid.size[n] = static_cast<int>(image.GetLargestPossibleRegion().GetSize(n));
    grid.spacing_mm[n] = image.GetSpacing()[n];
    grid.origin_lps_mm[n] = image.GetOrigin()[n];
    for (unsigned m = 0; m < 3; ++m) grid.direction(n, m) = image.GetDirection()(n, m);
  }
  ASSERT_TRUE(same_grid(grid, ours.grid, 1e-3));
  EXPECT_TRUE(std::equal(ours.values.begin(), ours.values.end(), image.GetBufferPointer()));
}

class IntakeAndItk : public testing::TestWithParam<const char*> {};

TEST_P(IntakeAndItk, ReadWhatTheOtherWrote) {
  const ScratchFolder folder;
  const std::string ending = GetParam();
  const auto volume = formula_volume(oblique_grid());
  const auto write = [&](const std::string& name, bool packed) {
    const auto writer = itk::ImageFileWriter<Image>::New();
    writer->SetImageIO(io_for(ending));
    writer->SetInput(itk_image(volume));
    writer->SetUseCompression(packed);
    writer->SetFileName(name);
    writer->Update();
  };
  for (const bool packed : {false, true}) {
    const auto path = folder / ((packed ? "packed" : "plain") + ending);
    write(path.string(), packed);
    const CtVolume ct = read_ct(path);
    EXPECT_TRUE(same_grid(ct.hu.grid, volume.grid, 1e-3)) << path;
    EXPECT_EQ(ct.hu.values, volume.values) << path;
  }
  write_hu(volume, folder / ("ours" + ending));
  const auto reader = itk::ImageFileReader<Image>::New();
  reader->SetImageIO(io_for(ending));
  reader->SetFileName((folder / ("ours" + ending)).string());
  reader->Update();
  expect_same(*reader->GetOutput(), volume);
}

INSTANTIATE_TEST_SUITE_P(Formats, IntakeAndItk, testing::Values(".nrrd", ".nii", ".nii.gz", ".mha"), [](const auto& format) {
  std::string name = format.param;
  std::erase(name, '.');
  return name;
});

TEST(IntakeAndItkSeries, AgreeOnGridAndHu) {
  using phantom::Coding;
  for (const Coding coding : {Coding::implicit_little, Coding::explicit_big, Coding::deflated, Coding::rle,
                              Coding::jpeg_lossless, Coding::jpeg_ls, Coding::jpeg_2000}) {
    const ScratchFolder folder;
    phantom::CtSeriesOptions options;
    options.coding = coding;
    options.is_signed = false;
    options.intercept = -1024;
    options.shuffled_names = true;
    phantom::write_ct_series(formula_volume(oblique_grid()), folder.path(), options);
    const auto names = itk::GDCMSeriesFileNames::New();
    names->SetDirectory(folder.path().string());
    const auto reader = itk::ImageSeriesReader<Image>::New();
    reader->SetImageIO(itk::GDCMImageIO::New());
    reader->SetFileNames(names->GetInputFileNames());
    reader->Update();
    expect_same(*reader->GetOutput(), read_ct(folder.path()).hu);
  }
}

}  // namespace
}  // namespace leastharm
