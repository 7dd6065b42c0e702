#include "imaging/body_frame.h"

#include <cmath>
#include <string>

#include "imaging/error.h"

namespace leastharm {

namespace {
constexpr double kSquareWithinDeg = 5;
}

double BodyFrame::left_of_midline_mm(const Vec3& lps_mm) const {
  // Seen along `front` the midline surface is a polyline: distance in the plane of left and head.
  const Vec3 left_axis = left();
  const auto flat = [&](const Vec3& p) { return Eigen::Vector2d(p.dot(left_axis), p.dot(head)); };
  const Eigen::Vector2d p = flat(lps_mm);
  double best = 0, best_distance = std::numeric_limits<double>::infinity();
  const std::size_t last = midline_lps_mm.size() - 1;
  for (std::size_t n = 0; n < last; ++n) {
    const Eigen::Vector2d a = flat(midline_lps_mm[n]), edge = flat(midline_lps_mm[n + 1]) - a;
    double t = (p - a).dot(edge) / edge.squaredNorm();
    if (n > 0) t = std::max(t, 0.0);            // the end pieces run on beyond the ends
    if (n + 1 < last) t = std::min(t, 1.0);
    const Eigen::Vector2d away = p - a - t * edge;
    if (away.norm() >= best_distance) continue;
    best_distance = away.norm();
    const double turn = edge.x() * away.y() - edge.y() * away.x();
    best = turn < 0 ? best_distance : -best_distance;   // right of the way to the head = the object's left
  }
  return best;
}

BodyFrame make_body_frame(const Vec3& head, const Vec3& front) {
  if (!head.allFinite() || !front.allFinite() || head.norm() < 1e-9 || front.norm() < 1e-9)
    throw BadInput("head and front must be finite vectors that are not zero");
  BodyFrame frame;
  frame.head = head.normalized();
  const double angle_deg = std::acos(std::clamp(frame.head.dot(front.normalized()), -1.0, 1.0)) * 180 / M_PI;
  if (std::abs(angle_deg - 90) > kSquareWithinDeg)
    throw BadInput("head and front lie " + std::to_string(static_cast<int>(std::lround(angle_deg))) +
                   " degrees apart: they must be 90 +- 5 degrees apart");
  frame.front = (front - front.dot(frame.head) * frame.head).normalized();
  return frame;
}

}  // namespace leastharm
