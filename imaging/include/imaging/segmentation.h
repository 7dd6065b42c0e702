#pragma once

#include <cstdint>

#include "imaging/body_frame.h"
#include "imaging/finding.h"
#include "imaging/grid.h"
#include "imaging/material.h"

namespace leastharm {

/// What the map was made from and how sure it is.
struct Segmentation {
  Volume<std::uint8_t> materials;    ///< label values of `Material`, on the CT's grid
  Volume<std::uint8_t> confidence;   ///< 255 = sure
  PerMaterial<double> volume_mm3{};
  PerMaterial<double> mean_hu{};     ///< 0 where the material does not occur
  double air_check_hu = 0;           ///< mean HU of room air; near -1000 in a well set scanner
  double noise_hu = 0;               ///< standard deviation of HU in even material
  BodyFrame proposed_frame;          ///< from shape and bone, never from tags
  std::vector<Finding> findings;
};

/// Tells the materials of a CT apart. Same input, same output, on any number of threads (`threads` 0: one a core).
/// Throws BadInput where the volume holds no object.
[[nodiscard]] Segmentation segment(const Volume<std::int16_t>& hu, int threads = 0);

/// Statistics of a map that came from elsewhere (a corrected one): volumes, mean HU, air reading, noise, frame.
/// Confidence is 255 everywhere: a person vouches for it. Throws BadInput where the grids differ.
[[nodiscard]] Segmentation describe_materials(const Volume<std::int16_t>& hu, Volume<std::uint8_t> materials);

}  // namespace leastharm
