#include "window/desk.h"

#include <algorithm>
#include <cmath>

#include "planner/cylinder.h"
#include "planner/entry.h"
#include "window/compared.h"

namespace leastharm {
namespace {

constexpr double kBeforeEntryMm = 16;
constexpr double kBehindTipMm = 26;
constexpr double kLeastSpanMm = 110;
constexpr double kSamePlaceMm = 0.1;  // the entry is looked for on the surface each time

}  // namespace

Track Desk::shown_track() const {
  Track track = bench.track();
  if (const auto point =
          find_entry_point(bench.ground().body, track.entry_lps_mm, track.tip_lps_mm))
    track.entry_lps_mm = *point;
  return track;
}

std::vector<Track> Desk::weighed() const {
  const auto& proposal = bench.search().proposal;
  if (!comparing || !proposal) return {};
  const std::vector<ComparedPlan> plans = compared_plans(*proposal);
  if (compared >= plans.size() || plans[compared].assessment == nullptr) return {};
  std::vector<Track> tracks;
  for (const TrackAssessment& t : plans[compared].assessment->tracks)
    if (std::ranges::none_of(bench.tracks(), [&](const Track& own) {
          return (own.entry_lps_mm - t.track.entry_lps_mm).norm() < kSamePlaceMm &&
                 (own.tip_lps_mm - t.track.tip_lps_mm).norm() < kSamePlaceMm;
        }))
      tracks.push_back(t.track);
  return tracks;
}

std::vector<Track> Desk::other_tracks() const {
  std::vector<Track> tracks;
  for (std::size_t n = 0; n < bench.tracks().size(); ++n)
    if (n != bench.in_hand()) tracks.push_back(bench.tracks()[n]);
  for (Track& t : weighed()) tracks.push_back(std::move(t));
  return tracks;
}

void Desk::lie_along_body() {
  const BodyFrame frame = drawing_frame(bench.file());
  section_.along = -frame.head;
  section_.up = frame.front;
  const double reach = half_length_mm(bench.ground(), frame.head);
  section_.entry = middle_of(bench.ground()) - reach * section_.along;
  span_to_mm_ = std::ceil((2 * reach + kBehindTipMm) / 20) * 20;
}

void Desk::follow_track() {
  if (!ready() || section_held) return;
  if (!bench.has_track()) return lie_along_body();
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
  view.slices_off = 0;
  bench.set_view(view);
}

double Desk::depth_mm() const {
  return std::clamp(bench.view().depth_mm, -kBeforeEntryMm, span_to_mm_);
}

int Desk::slice_of_line() const {
  const Grid& grid = bench.ground().body.grid;
  return std::clamp(grid.voxel_at(depth_point()).k, 0, grid.size[2] - 1);
}

int Desk::slice_index() const {
  return std::clamp(slice_of_line() + bench.view().slices_off, 0,
                    bench.ground().body.grid.size[2] - 1);
}

void Desk::show_slice(int k) {
  ViewState view = bench.view();
  view.slices_off = std::clamp(k, 0, bench.ground().body.grid.size[2] - 1) - slice_of_line();
  bench.set_view(view);
}

void Desk::step_slice(int headward) {
  const bool k_grows_headward =
      bench.ground().body.grid.direction.col(2).dot(drawing_frame(bench.file()).head) >= 0;
  show_slice(slice_index() + (k_grows_headward ? headward : -headward));
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
