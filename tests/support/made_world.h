#pragma once

#include <vector>

#include "planner/propose.h"
#include "support/made_body.h"

namespace leastharm::test {

/// P: one core of packing for gas chromatography with mass spectrometry, which uses so much of it.
inline Request packing_request(double uses_mg) {
  Request request;
  request.id = "P";
  request.material = Material::packing;
  request.assays = {{"GC-MS", uses_mg}};
  return request;
}

/// The made body as the planner takes it: a sure map, a confirmed frame, the amulet protected, the first needle of the
/// catalogue; marks and requests are added to it.
struct MadeWorld {
  MadeBody made = made_body();
  std::vector<std::uint8_t> confidence;
  Body body;
  RequestFile file;

  MadeWorld() : confidence(made.hu.values.size(), 255) {
    body.grid = made.hu.grid;
    body.hu = made.hu.values;
    body.materials = made.materials.values;
    body.confidence = confidence;
    body.frame = BodyFrame{{0, 0, 1}, {0, -1, 0}, {{0, 0, 180}, {0, 0, 400}}, 1};
    body.marks.push_back({"dense-1", MarkKind::keep_out, 0, true, ball_mask(body.grid, made.amulet_lps_mm, 6)});
    file.needles = {needle_catalogue().front()};
    file.time_s = 2;   // a proposal, not its bound, is what most tests ask for
  }
  MadeWorld(const MadeWorld&) = delete;   // `body` looks at the others
  MadeWorld& operator=(const MadeWorld&) = delete;
};

}  // namespace leastharm::test
