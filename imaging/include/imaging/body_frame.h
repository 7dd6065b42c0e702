#pragma once

#include <limits>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// The object's own directions in LPS, and its midline. Scanner tags about a mummy's posture are often wrong, so a
/// frame is proposed, and holds only once a named person has confirmed it.
struct BodyFrame {
  Vec3 head{0, 0, 1};     ///< unit, feet to head
  Vec3 front{0, -1, 0};   ///< unit, back to front, square to head
  std::vector<Vec3> midline_lps_mm;   ///< polyline along the spine from feet to head, at least two points;
                                      ///< swept along `front` it parts left from right
  double certainty = 0;   ///< of a proposal, 0 to 1

  [[nodiscard]] Vec3 left() const { return head.cross(front); }
  /// Signed distance of a point to the midline surface, mm: positive on the object's left.
  [[nodiscard]] double left_of_midline_mm(const Vec3& lps_mm) const;
};

/// A frame from two directions that a person gave. Throws BadInput unless they are 90 +- 5 degrees apart;
/// `front` is then made square to `head`. The midline is left empty.
[[nodiscard]] BodyFrame make_body_frame(const Vec3& head, const Vec3& front);

}  // namespace leastharm
