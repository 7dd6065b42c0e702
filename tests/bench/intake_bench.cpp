// Reading a DICOM folder of 512 x 512 slices: the bare files, ITK's series reader, and ours, in one run.
// Ours checks, sorts and hashes on the way.

#include <benchmark/benchmark.h>
#include <fcntl.h>
#include <itkGDCMImageIO.h>
#include <itkGDCMSeriesFileNames.h>
#include <itkImage.h>
#include <itkImageSeriesReader.h>
#include <unistd.h>

#include <map>

#include "imaging/intake.h"
#include "phantom_data/ct_series.h"
#include "support/test_volumes.h"

namespace leastharm::test {
namespace {

/// A noisy cylinder, written once for each number of slices and coding.
const std::filesystem::path& series(int slices, phantom::Coding coding) {
  static const ScratchFolder folder;
  static std::map<std::pair<int, phantom::Coding>, std::filesystem::path> written;
  std::filesystem::path& path = written[{slices, coding}];
  if (!path.empty()) return path;
  path = folder / (std::to_string(slices) + "-" + std::to_string(static_cast<int>(coding)));
  Volume<std::int16_t> volume;
  volume.grid.size = {512, 512, slices};
  volume.grid.spacing_mm = {0.8, 0.8, 1};
  volume.values.resize(volume.grid.voxel_count());
  std::uint32_t noise = 1;
  for (std::size_t n = 0; n < volume.values.size(); ++n) {
    noise = noise * 1664525u + 1013904223u;
    const int i = static_cast<int>(n % 512) - 256, j = static_cast<int>(n / 512 % 512) - 256;
    const int r2 = i * i + j * j, matter = r2 < 150 * 150 ? 40 : r2 < 200 * 200 ? -700 : -1000;
    volume.values[n] = static_cast<std::int16_t>(matter + static_cast<int>(noise >> 16) % 61 - 30);
  }
  phantom::CtSeriesOptions options;
  options.coding = coding;
  phantom::write_ct_series(volume, path, options);
  return path;
}

void count_voxels(benchmark::State& state) {
  state.SetItemsProcessed(state.iterations() * state.range(0) * 512 * 512);
}

/// The least that any reader does: every file's bytes into memory of its own, on one core.
void bare_files(benchmark::State& state) {
  const auto& folder = series(static_cast<int>(state.range(0)), phantom::Coding::explicit_little);
  for (auto unused : state) {
    std::vector<std::vector<char>> files;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
      files.emplace_back(entry.file_size());
      const int file = ::open(entry.path().c_str(), O_RDONLY);
      benchmark::DoNotOptimize(::read(file, files.back().data(), files.back().size()));
      ::close(file);
    }
  }
  count_voxels(state);
}

void itk_series_reader(benchmark::State& state) {
  using Image = itk::Image<std::int16_t, 3>;
  const auto& folder = series(static_cast<int>(state.range(0)), phantom::Coding::explicit_little);
  for (auto unused : state) {
    const auto names = itk::GDCMSeriesFileNames::New();
    names->SetDirectory(folder.string());
    const auto reader = itk::ImageSeriesReader<Image>::New();
    reader->SetImageIO(itk::GDCMImageIO::New());
    reader->SetFileNames(names->GetInputFileNames());
    reader->Update();
    benchmark::DoNotOptimize(reader->GetOutput()->GetBufferPointer());
  }
  count_voxels(state);
}

void ours(benchmark::State& state, phantom::Coding coding) {
  const auto& folder = series(static_cast<int>(state.range(0)), coding);
  for (auto unused : state) benchmark::DoNotOptimize(read_ct(folder).hu.values.data());
  count_voxels(state);
}

void headers_alone(benchmark::State& state) {
  const auto& folder = series(static_cast<int>(state.range(0)), phantom::Coding::explicit_little);
  for (auto unused : state) benchmark::DoNotOptimize(inspect(folder).series.size());
  count_voxels(state);
}

BENCHMARK(bare_files)->Arg(60)->Arg(600)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK(itk_series_reader)->Arg(60)->Arg(600)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK_CAPTURE(ours, explicit_little, phantom::Coding::explicit_little)
    ->Arg(60)
    ->Arg(600)
    ->Unit(benchmark::kMillisecond)
    ->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK_CAPTURE(ours, rle, phantom::Coding::rle)->Arg(60)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK_CAPTURE(ours, jpeg_lossless, phantom::Coding::jpeg_lossless)
    ->Arg(60)
    ->Unit(benchmark::kMillisecond)
    ->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK_CAPTURE(ours, jpeg_ls, phantom::Coding::jpeg_ls)->Arg(60)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK_CAPTURE(ours, jpeg_2000, phantom::Coding::jpeg_2000)->Arg(60)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();
BENCHMARK(headers_alone)->Arg(600)->Unit(benchmark::kMillisecond)->MeasureProcessCPUTime()->UseRealTime();

}  // namespace
}  // namespace leastharm::test
