#pragma once

#include <string>

#include "imaging/body_frame.h"
#include "planner/case.h"

namespace leastharm {

/// The object's own axes where a person has confirmed them, else the scanner's: a side that nobody
/// confirmed is never printed as left or right.
struct Directions {
  Vec3 head, front, left;
  bool confirmed = false;
};
[[nodiscard]] Directions directions_of(const CaseFile& file);

/// "head", "front left", or "scanner left": what lies that way.
[[nodiscard]] std::string words_for(const Vec3& direction, const Directions& directions);

/// Axes to draw the body along: the confirmed frame, else the proposed one (its words still say
/// "scanner").
[[nodiscard]] BodyFrame drawing_frame(const CaseFile& file);

}  // namespace leastharm
