// Prints, as Markdown, how well the material map agrees with the truth on every invented body of phantom_data.
//   map_table [SCENARIO ...] [--seed N] [--noise HU] [--spacing MM]   Dice, frame and speed
//   map_table --calibrate                                             the table of src/segment/confidence_table.cpp

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "phantom_data/phantom.h"
#include "segment/confidence.h"
#include "segment/denoise.h"
#include "support/map_score.h"

namespace {

using namespace leastharm;

struct Wish {
  std::vector<std::string> scenarios;
  phantom::PhantomOptions options;
  bool calibrate = false;
};

Wish wish_from(int count, char** words) {
  Wish wish;
  for (int n = 1; n < count; ++n) {
    const std::string word = words[n];
    const auto number = [&] { return n + 1 < count ? std::atof(words[++n]) : 0.0; };
    if (word == "--seed") wish.options.seed = static_cast<std::uint64_t>(number());
    else if (word == "--noise") wish.options.noise_hu = number();
    else if (word == "--spacing") wish.options.spacing_mm = Vec3::Constant(number());
    else if (word == "--calibrate") wish.calibrate = true;
    else wish.scenarios.push_back(word);
  }
  if (wish.scenarios.empty()) wish.scenarios = phantom::scenario_names();
  return wish;
}

void print_row(const std::string& name, const phantom::Phantom& body, const Segmentation& map, double seconds) {
  const PerMaterial<double> overlap = test::dice(map.materials, body.truth);
  std::printf("| %s | %.1f |", name.c_str(), static_cast<double>(body.hu.values.size()) / 1e6);
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    overlap[m] < 0 ? std::printf(" – |") : std::printf(" %.3f |", overlap[m]);
  std::printf(" %.0f, %.0f (%.2f) | %.0f |\n", test::angle_deg(map.proposed_frame.head, body.frame.head),
              test::angle_deg(map.proposed_frame.front, body.frame.front), map.proposed_frame.certainty,
              1e9 * seconds / static_cast<double>(body.hu.values.size()));
  std::fflush(stdout);
}

void print_dice(const Wish& wish) {
  std::printf("| body | Mvoxel |");
  for (std::size_t m = 1; m < kMaterialCount; ++m) std::printf(" %s |", std::string(kMaterialNames[m]).c_str());
  std::printf(" head, front off by ° (certainty) | ns/voxel |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
  for (const std::string& name : wish.scenarios) {
    const phantom::Phantom body = phantom::make_phantom(name, wish.options);
    const auto start = std::chrono::steady_clock::now();
    const Segmentation map = segment(body.hu);
    print_row(name, body, map, std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  }
}

}  // namespace

int main(int count, char** words) {
  print_dice(wish_from(count, words));
  return 0;
}
