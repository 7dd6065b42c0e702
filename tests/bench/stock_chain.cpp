// What a skilled user of ITK would write to tell the materials of a CT apart, as a program of its own: read the DICOM
// folder, take the noise off (3 x 3 x 3 median), part the HU into four classes (multi-Otsu), number their connected
// pieces, measure the distance to three of the classes' borders (Maurer), and write a label map and an 8-bit map of
// the nearest border, packed. Every stage lets go of what the next does not need. `process_table` runs it beside
// ours.
#include <itkConnectedComponentImageFilter.h>
#include <itkGDCMImageIO.h>
#include <itkGDCMSeriesFileNames.h>
#include <itkImage.h>
#include <itkImageFileWriter.h>
#include <itkImageSeriesReader.h>
#include <itkMedianImageFilter.h>
#include <itkNrrdImageIO.h>
#include <itkOtsuMultipleThresholdsImageFilter.h>
#include <itkRelabelComponentImageFilter.h>
#include <itkSignedMaurerDistanceMapImageFilter.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <exception>
#include <string>

namespace {

using Hu = itk::Image<std::int16_t, 3>;
using Labels = itk::Image<std::uint8_t, 3>;
using Pieces = itk::Image<std::uint32_t, 3>;
using Distance = itk::Image<float, 3>;

Hu::Pointer read_folder(const std::string& folder) {
  const auto names = itk::GDCMSeriesFileNames::New();
  names->SetDirectory(folder);
  const auto reader = itk::ImageSeriesReader<Hu>::New();
  reader->SetImageIO(itk::GDCMImageIO::New());
  reader->SetFileNames(names->GetInputFileNames());
  reader->Update();
  return reader->GetOutput();
}

Hu::Pointer median(const Hu* hu) {
  const auto filter = itk::MedianImageFilter<Hu, Hu>::New();
  filter->SetRadius(Hu::SizeType::Filled(1));
  filter->SetInput(hu);
  filter->Update();
  return filter->GetOutput();
}

Labels::Pointer classes(const Hu* hu) {
  const auto filter = itk::OtsuMultipleThresholdsImageFilter<Hu, Labels>::New();
  filter->SetInput(hu);
  filter->SetNumberOfThresholds(3);
  filter->Update();
  return filter->GetOutput();
}

/// Takes pieces of under 100 voxels out of what is not air: the background.
void drop_specks(Labels* labels) {
  const auto components = itk::ConnectedComponentImageFilter<Labels, Pieces>::New();
  components->SetInput(labels);
  const auto sorted = itk::RelabelComponentImageFilter<Pieces, Pieces>::New();
  sorted->SetInput(components->GetOutput());
  sorted->SetMinimumObjectSize(100);
  sorted->InPlaceOn();
  sorted->Update();
  const std::size_t count = labels->GetLargestPossibleRegion().GetNumberOfPixels();
  const std::uint32_t* piece = sorted->GetOutput()->GetBufferPointer();
  std::uint8_t* label = labels->GetBufferPointer();
  for (std::size_t n = 0; n < count; ++n)
    if (piece[n] == 0) label[n] = 0;
}

/// Keeps the least distance to a border of one class and the others, in tenths of a millimetre.
void near_border(const Labels* labels, std::uint8_t wanted, Labels* nearest) {
  const auto mask = Labels::New();
  mask->CopyInformation(labels);
  mask->SetRegions(labels->GetLargestPossibleRegion());
  mask->Allocate();
  const std::size_t count = labels->GetLargestPossibleRegion().GetNumberOfPixels();
  for (std::size_t n = 0; n < count; ++n) mask->GetBufferPointer()[n] = labels->GetBufferPointer()[n] == wanted;
  const auto filter = itk::SignedMaurerDistanceMapImageFilter<Labels, Distance>::New();
  filter->SetInput(mask);
  filter->SetUseImageSpacing(true);
  filter->SetSquaredDistance(false);
  filter->Update();
  const float* distance_mm = filter->GetOutput()->GetBufferPointer();
  for (std::size_t n = 0; n < count; ++n) {
    const auto tenths = static_cast<std::uint8_t>(std::min(255.0F, 10 * std::abs(distance_mm[n])));
    nearest->GetBufferPointer()[n] = std::min(nearest->GetBufferPointer()[n], tenths);
  }
}

void write(const Labels* map, const std::string& path) {
  const auto writer = itk::ImageFileWriter<Labels>::New();
  writer->SetImageIO(itk::NrrdImageIO::New());
  writer->SetUseCompression(true);
  writer->SetFileName(path);
  writer->SetInput(map);
  writer->Update();
}

void run(const std::string& ct, const std::string& output) {
  Hu::Pointer hu = read_folder(ct);
  hu = median(hu);
  const Labels::Pointer labels = classes(hu);
  hu = nullptr;
  drop_specks(labels);
  const auto nearest = Labels::New();
  nearest->CopyInformation(labels);
  nearest->SetRegions(labels->GetLargestPossibleRegion());
  nearest->Allocate();
  nearest->FillBuffer(255);
  for (const int material : {1, 2, 3}) near_border(labels, static_cast<std::uint8_t>(material), nearest);
  write(labels, output + "/labels.nrrd");
  write(nearest, output + "/nearest.nrrd");
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fprintf(stderr, "usage: stock_chain CT_FOLDER OUTPUT_FOLDER\n");
    return 2;
  }
  try {
    run(argv[1], argv[2]);
    return 0;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
  }
}
