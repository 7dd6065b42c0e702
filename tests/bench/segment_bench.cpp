// The material map's speed, beside ITK's 3^3 median alone, which a stock chain would begin with.
#include <benchmark/benchmark.h>
#include <itkImage.h>
#include <itkMedianImageFilter.h>

#include <algorithm>

#include "imaging/segmentation.h"
#include "phantom_data/phantom.h"

namespace leastharm {
namespace {

const Volume<std::int16_t>& demo_hu() {
  static const Volume<std::int16_t> hu = phantom::make_phantom("adult").hu;
  return hu;
}

void count_voxels(benchmark::State& state) {
  state.counters["voxels/s"] = benchmark::Counter(static_cast<double>(demo_hu().values.size()) * static_cast<double>(state.iterations()),
                                                  benchmark::Counter::kIsRate);
}

void segment_whole(benchmark::State& state) {
  demo_hu();
  for (auto _ : state) benchmark::DoNotOptimize(segment(demo_hu()).volume_mm3);
  count_voxels(state);
}
BENCHMARK(segment_whole)->Unit(benchmark::kMillisecond)->UseRealTime();

void itk_median(benchmark::State& state) {
  using Image = itk::Image<std::int16_t, 3>;
  const auto image = Image::New();
  const auto& size = demo_hu().grid.size;
  image->SetRegions(Image::SizeType{{static_cast<std::size_t>(size[0]), static_cast<std::size_t>(size[1]), static_cast<std::size_t>(size[2])}});
  image->Allocate();
  std::ranges::copy(demo_hu().values, image->GetBufferPointer());
  for (auto _ : state) {
    const auto median = itk::MedianImageFilter<Image, Image>::New();
    median->SetRadius(Image::SizeType::Filled(1));
    median->SetInput(image);
    median->Update();
    benchmark::DoNotOptimize(median->GetOutput()->GetBufferPointer());
  }
  count_voxels(state);
}
BENCHMARK(itk_median)->Unit(benchmark::kMillisecond)->UseRealTime();

}  // namespace
}  // namespace leastharm
