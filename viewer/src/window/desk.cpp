#include "window/desk.h"

#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"

namespace leastharm {
namespace {

constexpr double kBeforeEntryMm = 16;
constexpr double kBehindTipMm = 26;
constexpr double kLeastSpanMm = 110;

}  // namespace

Track Desk::shown_track() const {
  Track track = bench.track();
  const auto figures = bench.figures_of(bench.in_hand());
  if (figures && figures->fault.empty() && same_track(figures->asked, track))
    track.entry_lps_mm = figures->assessment.track.entry_lps_mm;
  return track;
}

void Desk::follow_track() {
  if (!ready() || !bench.has_track() || section_held) return;
  const Track track = shown_track();
  section_.entry = track.entry_lps_mm;
  section_.along = axis_of(track);
  section_.up = section_up(section_.along, bench.ground().body.grid.direction.col(2), directions());
  const double reach = path_length_mm(track) + track.needle.dead_tip_mm;
  // In steps, so that the scale does not swim while a track is lengthened.
  span_to_mm_ = std::max(kLeastSpanMm, std::ceil((reach + kBehindTipMm) / 20) * 20);
}

ScreenAxis Desk::axis(double width_px) const {
  return {-kBeforeEntryMm, span_to_mm_, static_cast<double>(gutter_px()), width_px - look.px(0.8)};
}

void Desk::set_depth_line(double depth_mm) {
  ViewState view = bench.view();
  view.depth_mm = std::clamp(depth_mm, -kBeforeEntryMm, span_to_mm_);
  bench.set_view(view);
}

Vec3 section_up(const Vec3& along, const Vec3& normal, const Directions& directions) {
  Vec3 up = normal.cross(along);
  if (up.norm() < 0.2) up = directions.front - directions.front.dot(along) * along;
  if (up.norm() < 1e-6) up = directions.head - directions.head.dot(along) * along;
  up.normalize();
  const double sign =
      std::abs(up.dot(directions.front)) > 0.2 ? up.dot(directions.front) : up.dot(directions.left);
  return sign < 0 ? Vec3(-up) : up;
}

}  // namespace leastharm
