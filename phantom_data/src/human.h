#pragma once

#include <optional>

#include "scene.h"

namespace leastharm::phantom {

enum class Opening { none, covered, torn };   // torn: the wrapping over it is open too

/// What kind of human body to build.
struct HumanPlan {
  bool wrapped = true;
  double wrapping_mm = 11;              ///< mean; varies smoothly by about a fifth
  double air_fold_mm = 0;               ///< widest air space between wrapping and body
  std::optional<Texture> packing = texture::sawdust();
  Opening opening = Opening::torn;
  bool amulet = true;
  bool resin = true;
  bool living = false;                  ///< flesh, fat, lungs and airways instead of dried remains
  double head_scale = 1;
  Box region;                           ///< nothing outside will be scanned (body's frame, before any scaling)
  std::uint64_t seed = 1;
  unsigned threads = 0;
};

/// A human body without support, in the body's frame.
struct Human {
  Parts parts;
  ShapePtr outside;                     ///< the outermost surface
  std::vector<Vec3> midline;
  std::map<std::string, Vec3> points;
};

[[nodiscard]] Human make_human(const HumanPlan& plan);

}  // namespace leastharm::phantom
