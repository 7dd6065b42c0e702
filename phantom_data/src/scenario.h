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
  Box region;                     ///< all that the grid can see, in the scene's frame
};

/// One invented body.
struct Scenario {
  std::string name;
  std::string what;                       ///< one or two plain sentences
  Vec3 spacing_mm{2, 2, 3};
  Box content;                            ///< what the scan must cover, before any turn
  std::function<Scene(const BuildRequest&)> build;
  double noise_hu = 20;
  Vec3 grid_rotation_deg{0, 0, 0};
  bool prone = false, feet_first = false;
};

/// All of them, the demo's first.
[[nodiscard]] const std::vector<Scenario>& all_scenarios();

/// A cat in linen, as a small upright bundle laid on its back on a board.
[[nodiscard]] Scene animal_bundle(const BuildRequest& request);

}  // namespace leastharm::phantom
