// What a drag costs: the exact figures (16 ms), the chances (200 ms), the pictures of one frame;
// and the same pictures of a CT of 512 x 512 x 600 voxels.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <numeric>
#include <vector>

#include "phantom_data/phantom.h"
#include "planner/cylinder.h"
#include "window/aim.h"
#include "window/figures.h"
#include "window/plane_cut.h"

namespace leastharm {
namespace {

/// The demo's adult with its true map: the packing as cavity, the amulets protected.
struct Adult {
  phantom::Phantom phantom = phantom::make_phantom("adult");
  std::shared_ptr<const Ground> ground;
  Track track;

  Adult() {
    auto ct = std::make_shared<CtVolume>();
    ct->hu = phantom.hu;
    auto materials = std::make_shared<Volume<std::uint8_t>>(phantom.truth);
    auto confidence = std::make_shared<Volume<std::uint8_t>>(Volume<std::uint8_t>{
        phantom.truth.grid, std::vector<std::uint8_t>(phantom.truth.values.size(), 235)});
    std::vector<Mark> marks{
        {"packing", MarkKind::cavity, 0, false, material_mask(phantom.truth, Material::packing)}};
    int n = 0;
    for (Mask& piece : material_pieces(phantom.truth, Material::dense, 5))
      marks.push_back(
          {"dense-" + std::to_string(++n), MarkKind::keep_out, 0, true, std::move(piece)});
    CaseFile file;
    file.ct.grid = phantom.hu.grid;
    file.frame = phantom.frame;
    file.request = RequestFile{};
    file.request->requests = {{.id = "P",
                               .cavity = "packing",
                               .material = Material::packing,
                               .assays = {{"analysis", 5}}}};
    file.request->needles = {needle_catalogue().front()};
    ground = make_ground({ct, materials, confidence}, std::move(marks), file);
    track = first_aim(ground->body, phantom.points.at("packing_left"), needle_catalogue().front());
    track.id = "T1";
    track.request = "P";
  }
  [[nodiscard]] Track moved(int n) const {
    return with_tip(track, track.tip_lps_mm + Vec3(0.3 * std::sin(n * 0.7), 0.3 * std::cos(n * 0.4),
                                                   0.2 * std::sin(n * 0.3)));
  }
};

Adult& adult() {
  static Adult a;
  return a;
}

/// Medians are what people feel; the slowest is printed beside them.
template <typename Work>
void run(benchmark::State& state, Work work) {
  adult();   // is not measured
  std::vector<double> ms;
  int n = 0;
  for (auto _ : state) {
    const auto begun = std::chrono::steady_clock::now();
    work(n++);
    ms.push_back(std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begun)
                     .count());
  }
  std::ranges::sort(ms);
  state.counters["median_ms"] = ms[ms.size() / 2];
  state.counters["worst_ms"] = ms.back();
}

void ExactFiguresAndLog(benchmark::State& state) {
  run(state,
      [](int n) { benchmark::DoNotOptimize(exact_figures(*adult().ground, adult().moved(n))); });
}
void ChancesAndIntervals(benchmark::State& state) {
  run(state, [](int n) {
    benchmark::DoNotOptimize(adult().ground->assessor->assess_track(adult().moved(n)));
  });
}

SlicePlane section_plane(const Track& track, int width, int height, double mm_per_px) {
  const Vec3 along = axis_of(track), down = across(along)[0];
  return {.corner_lps_mm = track.entry_lps_mm - 16 * along - height * mm_per_px / 2 * down,
          .right = along,
          .down = down,
          .mm_per_px = mm_per_px,
          .width = width,
          .height = height};
}

/// Section, view across and scanner's slice as a window of the given width shows them.
void draw_frame(const Body& body, const Track& track, int width, PlaneCut& cut,
                std::vector<std::uint32_t>& pixels) {
  const auto one = [&](const SlicePlane& plane) {
    cut_plane(body, plane, false, cut);
    pixels.resize(cut.hu.size());
    paint_cut(cut, {}, pixels);
    benchmark::DoNotOptimize(pixels.data());
  };
  const int insets = width * 16 / 100;
  one(section_plane(track, width * 92 / 100, width * 18 / 100, 130.0 / width));
  one(section_plane(track, insets, insets, 36.0 / insets));
  one({.corner_lps_mm = body.grid.lps_from_index(Vec3(0, 0, body.grid.size[2] / 2)),
       .right = body.grid.direction.col(0),
       .down = body.grid.direction.col(1),
       .mm_per_px = body.grid.size[0] * body.grid.spacing_mm.x() / (insets * 1.25),
       .width = insets * 5 / 4,
       .height = insets});
}

void PicturesOfAFrame(benchmark::State& state) {
  PlaneCut cut;
  std::vector<std::uint32_t> pixels;
  run(state, [&](int n) {
    draw_frame(adult().ground->body, adult().moved(n), static_cast<int>(state.range(0)), cut,
               pixels);
  });
}

void PicturesOfAFrameOfALargeCt(benchmark::State& state) {
  static const auto large = [] {
    struct Large {
      std::vector<std::int16_t> hu;
      std::vector<std::uint8_t> materials, confidence;
      Body body;
    };
    auto l = std::make_unique<Large>();
    Grid& grid = l->body.grid;
    grid.size = {512, 512, 600};
    grid.spacing_mm = {0.9, 0.9, 1};
    l->hu.resize(grid.voxel_count());
    l->materials.resize(grid.voxel_count());
    l->confidence.assign(grid.voxel_count(), 240);
    std::size_t at = 0;
    for (int k = 0; k < 600; ++k)
      for (int j = 0; j < 512; ++j)
        for (int i = 0; i < 512; ++i, ++at) {
          const int layer = (i - 256) * (i - 256) / 400 + (j - 256) * (j - 256) / 160;
          l->materials[at] = static_cast<std::uint8_t>(layer > 140   ? 0
                                                       : layer > 100 ? 1
                                                       : layer > 60  ? 2
                                                                     : 3);
          l->hu[at] = static_cast<std::int16_t>(-1000 + 300 * l->materials[at] +
                                                (i * 7 + j * 13 + k * 29) % 40);
        }
    l->body.hu = l->hu;
    l->body.materials = l->materials;
    l->body.confidence = l->confidence;
    return l;
  }();
  PlaneCut cut;
  std::vector<std::uint32_t> pixels;
  run(state, [&](int n) {
    const Vec3 tip(230 + 3 * std::sin(n * 0.3), 230 + 2 * std::cos(n * 0.5),
                   300 + std::sin(n * 0.2));
    draw_frame(large->body, {.entry_lps_mm = tip + Vec3(20, -110, 15), .tip_lps_mm = tip},
               static_cast<int>(state.range(0)), cut, pixels);
  });
}

BENCHMARK(ExactFiguresAndLog)->Unit(benchmark::kMillisecond)->MinTime(1);
BENCHMARK(ChancesAndIntervals)->Unit(benchmark::kMillisecond)->MinTime(2);
BENCHMARK(PicturesOfAFrame)->Arg(1280)->Arg(2560)->Unit(benchmark::kMillisecond)->MinTime(1);
BENCHMARK(PicturesOfAFrameOfALargeCt)
    ->Arg(1280)
    ->Arg(2560)
    ->Unit(benchmark::kMillisecond)
    ->MinTime(1);

}  // namespace
}  // namespace leastharm
