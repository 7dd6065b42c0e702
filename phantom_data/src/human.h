#pragma once

#include <optional>

#include "skeleton.h"

namespace leastharm::phantom {

enum class Opening { none, covered, torn };   // torn: the wrapping over it is open too

/// All of a human body, in its own frame.
inline const Box kWholeHuman{{-220, -200, -840}, {220, 150, 760}};

/// What kind of human body to build.
struct HumanPlan {
  bool wrapped = true;
  double wrapping_mm = 11;              ///< mean; varies smoothly by about a fifth
  double air_fold_mm = 0;               ///< widest air space between wrapping and body
  std::optional<Texture> packing = texture::sawdust();
  bool filled = false;                  ///< the packing fills the cavity up to a level, instead of two columns
  Opening opening = Opening::torn;
  bool amulet = true;
  bool resin = true;
  bool living = false;                  ///< flesh, fat, lungs and airways instead of dried remains
  bool arms_crossed = true;             ///< else beside the body, hands on the thighs
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
