// Integrals of a field along straight axes, the search's currency: ours in a sweep of parallel axes (every layer ends one integral of
// each of them), the exact voxel traversal, and the samplers of ITK and VTK at the same step. One thread each, same field, same axes.
#include <benchmark/benchmark.h>
#include <itkImage.h>
#include <itkLinearInterpolateImageFunction.h>
#include <vtkImageData.h>
#include <vtkImageInterpolator.h>
#include <vtkNew.h>

#include <Eigen/Geometry>
#include <numeric>

#include "planner/voxel_walk.h"
#include "refined_field.h"

namespace leastharm {
namespace {

constexpr int kSide = 160, kAcross = 48, kLayers = 128;
constexpr double kSpacing_mm = 1.4, kStep_mm = 0.75;

/// A wall of 12 voxels round a hollow, 4 Mvoxel.
const Volume<float>& weights() {
  static const Volume<float> made = [] {
    Volume<float> v;
    v.grid.size = {kSide, kSide, kSide};
    v.grid.spacing_mm = Vec3::Constant(kSpacing_mm);
    v.values.resize(v.grid.voxel_count());
    for (int k = 0; k < kSide; ++k)
      for (int j = 0; j < kSide; ++j)
        for (int i = 0; i < kSide; ++i) {
          const double r = (Vec3(i, j, k) - Vec3::Constant(kSide / 2.0)).norm();
          v.values[v.grid.offset(i, j, k)] = r < 58 ? 0.2f : r < 70 ? 1.0f : 0.0f;
        }
    return v;
  }();
  return made;
}

struct Axes {
  Vec3 along = Vec3(0.3, 0.2, 1).normalized(), first = along.unitOrthogonal(), second = along.cross(first);
  [[nodiscard]] Vec3 from(int i, int j) const {
    return Vec3::Constant(kSide * kSpacing_mm / 2) - 48 * along + 0.8 * (i - kAcross / 2.0) * first + 0.8 * (j - kAcross / 2.0) * second;
  }
};

void told(benchmark::State& state, std::int64_t integrals, double sum) {
  benchmark::DoNotOptimize(sum);
  state.counters["integrals/s"] = benchmark::Counter(static_cast<double>(integrals), benchmark::Counter::kIsRate);
}

/// One integral after the other, sampled at our step.
template <typename Value>
void sum_samples(benchmark::State& state, const Value& value_at) {
  const Axes axes;
  std::int64_t integrals = 0;
  double sum = 0;
  for (auto unused : state)
    for (int i = 0; i < kAcross; ++i, ++integrals)
      for (int k = 0; k < kLayers; ++k) sum += kStep_mm * value_at(axes.from(i, i) + (k + 0.5) * kStep_mm * axes.along);
  told(state, integrals, sum);
}

void ours_in_a_sweep(benchmark::State& state) {
  const RefinedField field(weights(), 1.5, refinement_factor(weights().grid, 1.5, 120'000'000));
  const Axes axes;
  std::vector<float> row(kAcross), sums(kAcross * kAcross);
  std::int64_t integrals = 0;
  for (auto unused : state) {
    std::ranges::fill(sums, 0.0f);
    for (int k = 0; k < kLayers; ++k)
      for (int j = 0; j < kAcross; ++j) {
        field.at_row(axes.from(0, j) + (k + 0.5) * kStep_mm * axes.along, 0.8 * axes.first, row);
        for (int i = 0; i < kAcross; ++i) sums[static_cast<std::size_t>(i + kAcross * j)] += row[static_cast<std::size_t>(i)];
      }
    integrals += static_cast<std::int64_t>(kAcross) * kAcross * kLayers;
  }
  told(state, integrals, std::accumulate(sums.begin(), sums.end(), 0.0));
}
BENCHMARK(ours_in_a_sweep);

void voxel_traversal(benchmark::State& state) {
  const Axes axes;
  std::int64_t integrals = 0;
  double sum = 0;
  for (auto unused : state)
    for (int i = 0; i < kAcross; ++i, ++integrals)
      walk_voxels(weights().grid, axes.from(i, i), axes.along, 0, kLayers * kStep_mm, [&](std::size_t offset, VoxelIndex, double enter, double leave) {
        sum += (leave - enter) * static_cast<double>(weights().values[offset]);
      });
  told(state, integrals, sum);
}
BENCHMARK(voxel_traversal);

void sampler_of_itk(benchmark::State& state) {
  using Image = itk::Image<float, 3>;
  auto image = Image::New();
  image->SetRegions(Image::SizeType{{kSide, kSide, kSide}});
  image->SetSpacing(itk::Vector<double, 3>(kSpacing_mm));
  image->Allocate();
  std::ranges::copy(weights().values, image->GetBufferPointer());
  auto interpolator = itk::LinearInterpolateImageFunction<Image>::New();
  interpolator->SetInputImage(image);
  sum_samples(state, [&](const Vec3& p) { return interpolator->Evaluate(itk::Point<double, 3>(p.data())); });
}
BENCHMARK(sampler_of_itk);

void interpolator_of_vtk(benchmark::State& state) {
  vtkNew<vtkImageData> image;
  image->SetDimensions(kSide, kSide, kSide);
  image->SetSpacing(kSpacing_mm, kSpacing_mm, kSpacing_mm);
  image->AllocateScalars(VTK_FLOAT, 1);
  std::ranges::copy(weights().values, static_cast<float*>(image->GetScalarPointer()));
  vtkNew<vtkImageInterpolator> interpolator;
  interpolator->SetInterpolationModeToLinear();
  interpolator->Initialize(image);
  sum_samples(state, [&](const Vec3& p) { return interpolator->Interpolate(p.x(), p.y(), p.z(), 0); });
}
BENCHMARK(interpolator_of_vtk);

}  // namespace
}  // namespace leastharm
