#pragma once

#include <cstdint>
#include <string>

#include "imaging/body_frame.h"
#include "imaging/grid.h"

namespace leastharm::test {

/// A scanned body whose build, treatment, posture and scan are all drawn from a seed.
struct DrawnBody {
  Volume<std::int16_t> hu;
  Volume<std::uint8_t> truth;   ///< the material of most of a voxel's eight samples
  BodyFrame frame;              ///< the object's own; no midline
  std::string what;             ///< in a line
};

/// Bodies that nothing was tuned to: made of other shapes, other HU and another scanner than those of phantom_data. `coarser`
/// widens the voxels. Same seed, same bytes. All invented.
[[nodiscard]] DrawnBody drawn_body(unsigned seed, double coarser = 1);

}  // namespace leastharm::test
