#include <benchmark/benchmark.h>

#include <numbers>

#include "planner/assessor.h"
#include "support/shape_world.h"

namespace leastharm::test {
namespace {

/// About 13 Mvoxel: a wrapped trunk with packing, a spine as keep-out, an amulet, a cavity.
const ShapeWorld& trunk() {
  static const ShapeWorld world = [] {
    Grid grid;
    grid.size = {256, 220, 230};
    grid.spacing_mm = {1.2, 1.2, 1.5};
    grid.origin_lps_mm = {-153, -131.4, -171.75};
    ShapeWorld w = make_world(grid, {}, [](const Vec3& p) {
      const double r = std::hypot(p.x() / 1.25, p.y());
      if (std::hypot(p.x(), p.y() - 60) < 18) return Material::bone;
      if (r < 70) return p.x() < 5 && p.x() > -5 ? Material::air : Material::packing;
      return r < 85 ? Material::body : r < 105 ? Material::wrapping : p.y() > 106 ? Material::support : Material::air;
    });
    w.marks.push_back(mark_where(w, {}, MarkKind::keep_out, "dense-1", [](const Vec3& p) { return (p - Vec3(40, -70, 0)).norm() < 8; }));
    w.marks.push_back(mark_where(w, {}, MarkKind::keep_out, "spine", [](const Vec3& p) { return std::hypot(p.x(), p.y() - 60) < 18; }));
    w.marks.push_back(mark_where(w, {}, MarkKind::cavity, "chest", [](const Vec3& p) { return std::hypot(p.x() / 1.25, p.y()) < 70; }));
    return w;
  }();
  return world;
}

RequestFile request() {
  RequestFile file;
  Request r;
  r.id = "P";
  r.cavity = "chest";
  r.assays = {{"GC-MS", 10}};
  file.requests = {r};
  return file;
}

Track track(int n) {
  const double t = std::numbers::pi * (0.15 + 0.1 * (n % 8)), z = 20.0 * (n % 9 - 4);
  const Vec3 outward(std::cos(t), -std::sin(t), 0.1);
  return track_between(Vec3(0, 0, z) + 160 * outward, Vec3(0, 0, z) + 45 * outward, "P", sure_needle(), "T" + std::to_string(n));
}

void prepare_assessor(benchmark::State& state) {
  const Body body = trunk().body();
  for (auto unused : state) benchmark::DoNotOptimize(Assessor(body, request()).keep_outs().size());
}
BENCHMARK(prepare_assessor)->Unit(benchmark::kMillisecond);

void assess_exact(benchmark::State& state) {
  const Body body = trunk().body();
  const Assessor assessor(body, request());
  int n = 0;
  for (auto unused : state) benchmark::DoNotOptimize(assessor.assess_exact(track(n++)).damage.score);
  state.counters["tracks/s"] = benchmark::Counter(static_cast<double>(n), benchmark::Counter::kIsRate);
}
BENCHMARK(assess_exact)->Unit(benchmark::kMillisecond);

void assess_with_chances(benchmark::State& state) {
  const Body body = trunk().body();
  const Assessor assessor(body, request());
  int n = 0;
  for (auto unused : state) benchmark::DoNotOptimize(assessor.assess_track(track(n++)).core.mass_mg);
  state.counters["tracks/s"] = benchmark::Counter(static_cast<double>(n), benchmark::Counter::kIsRate);
}
BENCHMARK(assess_with_chances)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace leastharm::test
