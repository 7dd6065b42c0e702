#pragma once

#include <functional>
#include <string>
#include <vector>

#include "scene.h"

namespace leastharm::phantom {

/// What a scenario's builder is told.
struct BuildRequest {
  std::uint64_t seed = 1;
  unsigned threads = 0;
  Mat3 turn = Mat3::Identity();   ///< of the body on its support
};

/// One invented body.
struct Scenario {
  std::string name;
  std::string what;                       ///< one or two plain sentences
  Vec3 spacing_mm;
  double noise_hu = 20;
  Vec3 grid_rotation_deg{0, 0, 0};
  bool prone = false, feet_first = false;
  std::function<Scene(const BuildRequest&)> build;
};

/// All of them, the demo's first.
[[nodiscard]] const std::vector<Scenario>& all_scenarios();

}  // namespace leastharm::phantom
