#include "directions.h"

#include <array>
#include <cmath>
#include <utility>

namespace leastharm {

Directions directions_of(const CaseFile& file) {
  if (file.frame) return {file.frame->head, file.frame->front, file.frame->left(), true};
  return {Vec3(0, 0, 1), Vec3(0, -1, 0), Vec3(1, 0, 0), false};
}

std::string words_for(const Vec3& direction, const Directions& directions) {
  const Vec3 unit = direction.normalized();
  const std::array<std::pair<double, std::pair<const char*, const char*>>, 3> axes{{
      {unit.dot(directions.head), {"head", "feet"}},
      {unit.dot(directions.front), {"front", "back"}},
      {unit.dot(directions.left), {"left", "right"}},
  }};
  // Two words where the direction lies well between two axes: more than 30 degrees off the nearest.
  std::string words;
  for (const auto& [share, names] : axes) {
    if (std::abs(share) < 0.5) continue;
    if (!words.empty()) words += " ";
    words += share > 0 ? names.first : names.second;
  }
  return directions.confirmed ? words : "scanner " + words;
}

BodyFrame drawing_frame(const CaseFile& file) {
  return file.frame ? *file.frame : file.proposed_frame;
}

}  // namespace leastharm
