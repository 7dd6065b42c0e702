// From a DICOM folder to written maps: `leastharm segment` and the stock chain of ITK (stock_chain.cpp), each as a
// whole process, in turn, on one invented body sampled ever finer. The best of the rounds counts. Each process runs
// once before, so that both find the files in memory.
#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "imaging/intake.h"
#include "support/test_volumes.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

/// What a process cost from its start to its end.
struct Cost {
  double wall_s = 0, cpu_s = 0, peak_mb = 0;
};

double seconds(const timeval& t) { return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec); }

/// Runs a program and waits for it. What it prints is thrown away. (The kernel counts into a process' peak what its
/// parent held before exec: this program keeps itself small.)
Cost run(const std::vector<std::string>& command) {
  std::vector<char*> words;
  for (const std::string& word : command) words.push_back(const_cast<char*>(word.c_str()));
  words.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
  const auto begun = std::chrono::steady_clock::now();
  pid_t child = 0;
  if (posix_spawn(&child, words[0], &actions, nullptr, words.data(), environ) != 0)
    throw std::runtime_error("cannot start " + command.front() + ": build it first");
  posix_spawn_file_actions_destroy(&actions);
  int status = 0;
  rusage usage{};
  ::wait4(child, &status, 0, &usage);
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) throw std::runtime_error(command.front() + " failed");
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count(),
          seconds(usage.ru_utime) + seconds(usage.ru_stime), static_cast<double>(usage.ru_maxrss) * 1024 / 1e6};
}

struct Setup {
  fs::path programs = fs::read_symlink("/proc/self/exe").parent_path();
  fs::path work;
  int rounds = 3;
};

/// The adult at a voxel size, as a DICOM folder; made once.
fs::path body(const Setup& setup, double in_plane_mm, double between_mm) {
  char spacing[64];
  std::snprintf(spacing, sizeof spacing, "%g,%g,%g", in_plane_mm, in_plane_mm, between_mm);
  const fs::path folder = setup.work / (std::string("adult-") + spacing);
  if (!fs::exists(folder / "scenario.json"))
    run({setup.programs / "make_phantom", "--scenario", "adult", "--spacing", spacing, "--output", folder});
  return folder / "ct";
}

Cost best_of(const Setup& setup, const std::vector<std::string>& command, const fs::path& output) {
  Cost best{1e9, 1e9, 0};
  for (int round = 0; round <= setup.rounds; ++round) {
    fs::remove_all(output);
    fs::create_directories(output);
    const Cost cost = run(command);
    if (round == 0 && setup.rounds > 1) continue;
    best = {std::min(best.wall_s, cost.wall_s), std::min(best.cpu_s, cost.cpu_s), std::max(best.peak_mb, cost.peak_mb)};
  }
  return best;
}

void print(const char* name, double voxels, const Cost& cost, double ratio) {
  std::printf("| %.1f | %s | %.2f | %.2f | %.0f | %.0f | %.0f (%.2f) | %s |\n", voxels / 1e6, name, cost.wall_s, cost.cpu_s,
              1e9 * cost.wall_s / voxels, 1e9 * cost.cpu_s / voxels, cost.peak_mb, (cost.peak_mb - 100) / (2e-6 * voxels),
              ratio > 0 ? (std::to_string(ratio).substr(0, 4) + " x").c_str() : "");
  std::fflush(stdout);
}

void compare(const Setup& setup, double in_plane_mm, double between_mm, bool ours_alone) {
  const fs::path ct = body(setup, in_plane_mm, between_mm), output = setup.work / "output";
  const double voxels = [&] {
    const Series series = inspect(ct).series.at(0);
    return static_cast<double>(series.grid.voxel_count());
  }();
  const Cost ours = best_of(setup, {setup.programs / "leastharm", "segment", ct, "--case", output}, output);
  if (ours_alone) return print("segment", voxels, ours, 0);
  const Cost stock = best_of(setup, {setup.programs / "stock_chain", ct, output}, output);
  print("stock chain", voxels, stock, 0);
  print("segment", voxels, ours, stock.wall_s / ours.wall_s);
}

}  // namespace
}  // namespace leastharm

int main(int argc, char** argv) {
  using namespace leastharm;
  Setup setup;
  std::vector<double> finer{1, 1.45, 2.1};
  bool ours_alone = false;
  CLI::App app("Sets `leastharm segment` beside a stock chain of ITK, as whole processes.");
  app.add_option("--work", setup.work, "Folder that keeps the invented scans (default: one that is removed)");
  app.add_option("--rounds", setup.rounds, "How often each runs; the best counts")->check(CLI::Range(1, 20));
  app.add_option("--finer", finer, "How many times finer than the 1.4 x 1.4 x 3 mm of the demo's body");
  app.add_flag("--ours-alone", ours_alone, "Without the stock chain");
  CLI11_PARSE(app, argc, argv);
  try {
    const test::ScratchFolder scratch;
    if (setup.work.empty()) setup.work = scratch.path();
    std::printf("| Mvoxel | process | wall, s | CPU, s | wall, ns/voxel | CPU, ns/voxel | peak, MB ((peak - 100 MB) / int16 volume) | ratio |\n"
                "| ---: | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n");
    for (const double f : finer) compare(setup, 1.4 / f, 3 / f, ours_alone);
    return 0;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
  }
}
