#include "planner/day_card.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <tuple>

#include "imaging/error.h"
#include "planner/clearance.h"
#include "planner/cylinder.h"
#include "planner/text.h"

namespace leastharm {
namespace {

constexpr double kDegrees = 180 / std::numbers::pi;
constexpr double kBefore_mm = 10, kNear_mm = 30;

/// Depth on the axis of the place nearest to a keep-out.
double nearest_depth_mm(const KeepOut& keep_out, const Cylinder& needle) {
  double least = 1e300, depth = 0;
  for (const KeepOut::Cell& cell : keep_out.cells()) {
    const Vec3 c = cell.centre();
    const double t = std::clamp((c - needle.start).dot(needle.axis), 0.0, needle.length_mm);
    const double far = (c - needle.at(t)).squaredNorm();
    if (far < least || (far == least && t < depth)) least = far, depth = t;
  }
  return depth;
}

std::vector<Halt> halts_of(const Body& body, const Track& track) {
  const double depth = path_length_mm(track);
  std::vector<Halt> halts{{depth / 2, "half depth"}};
  const Cylinder needle = outer_cylinder(track);
  for (const Mark& mark : body.marks) {
    if (mark.kind != MarkKind::keep_out) continue;
    const KeepOut keep_out(mark.name, mark.mask);
    if (const double clear = clearance_mm(keep_out, needle); clear < kNear_mm)
      halts.push_back(
          {std::max(0.0, nearest_depth_mm(keep_out, needle) - kBefore_mm),
           "10 mm before " + mark.name + " (" + fixed(clear, 1) + " mm beside the needle)"});
  }
  std::ranges::stable_sort(halts, {}, &Halt::depth_mm);
  std::vector<Halt> apart;  // two within a millimetre are one scan
  for (const Halt& h : halts) {
    if (!apart.empty() && h.depth_mm - apart.back().depth_mm < 1)
      apart.back().why += "; " + h.why;
    else
      apart.push_back(h);
  }
  return apart;
}

CardTrack card_track(const Body& body, const TrackAssessment& a) {
  const Grid& g = body.grid;
  const Track& t = a.track;
  const Vec3 axis = axis_of(t), entry = g.index_from_lps(t.entry_lps_mm);
  const Vec3 from_zero(t.entry_lps_mm.x(), t.entry_lps_mm.y(), 0);
  CardTrack card{.id = t.id, .needle = t.needle};
  card.entry_lps_mm = t.entry_lps_mm;
  card.slice = std::clamp(static_cast<int>(std::lround(entry.z())), 0, g.size[2] - 1) + 1;
  card.right_mm = from_zero.dot(g.direction.col(0));
  card.down_mm = from_zero.dot(g.direction.col(1));
  card.in_plane_deg =
      kDegrees * std::atan2(axis.dot(g.direction.col(0)), axis.dot(g.direction.col(1)));
  card.out_of_plane_deg = kDegrees * std::asin(std::clamp(axis.dot(g.direction.col(2)), -1.0, 1.0));
  card.depth_mm = path_length_mm(t);
  card.stop_mm = t.needle.usable_mm - card.depth_mm - t.needle.dead_tip_mm;
  card.halts = halts_of(body, t);
  card.admissible = a.admissible;
  card.findings = a.findings;
  for (const Finding& f : a.findings)
    if (f.level == Level::refused) card.ask_first += (card.ask_first.empty() ? "" : "; ") + f.what;
  return card;
}

void check_axial(const Grid& grid) {
  constexpr double kHalf = 0.707;
  if (std::abs(grid.direction(2, 2)) < kHalf || std::abs(grid.direction(0, 0)) < kHalf)
    throw BadInput(
        "the slices of this CT are not axial: table position, offsets and angles would mean nothing. "
        "Give the scanner's own axial series");
}

}  // namespace

DayCard make_day_card(const Body& body, const Assessment& assessment,
                      const std::vector<double>& error_p95_mm, const Placement& placement) {
  check_axial(body.grid);
  std::vector<std::size_t> order(assessment.tracks.size());
  std::iota(order.begin(), order.end(), 0u);
  std::ranges::stable_sort(order, {}, [&](std::size_t n) {
    const TrackAssessment& a = assessment.tracks[n];
    return std::tuple(std::round(100 * a.core.foreign_fraction), a.damage.score);
  });
  DayCard card;
  const auto& size = body.grid.size;
  card.picture_middle_lps_mm =
      body.grid.lps_from_index({(size[0] - 1) / 2.0, (size[1] - 1) / 2.0, (size[2] - 1) / 2.0});
  for (const std::size_t n : order) {
    card.tracks.push_back(card_track(body, assessment.tracks[n]));
    card.tracks.back().order = static_cast<int>(card.tracks.size());
    card.tracks.back().placement_mm = placement.placement_mm;
    if (n < error_p95_mm.size()) card.tracks.back().error_p95_mm = error_p95_mm[n];
  }
  return card;
}

}  // namespace leastharm
