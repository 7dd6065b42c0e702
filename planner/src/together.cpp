#include "planner/together.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <set>

#include "findings.h"
#include "imaging/error.h"
#include "planner/assessor.h"
#include "planner/cylinder.h"
#include "planner/text.h"
#include "workers.h"

namespace leastharm {

namespace {

using Tracks = std::vector<TrackAssessment>;

bool inside_cylinder_line(const Track& track, const Vec3& point) {
  const Vec3 r = point - track.entry_lps_mm, axis = axis_of(track);
  return (r - r.dot(axis) * axis).norm() <= track.needle.outer_mm / 2;
}

std::vector<HoleNode> nodes_of(const Body& body, const TrackAssessment& a) {
  EntrySite site;
  site.point_lps_mm = a.track.entry_lps_mm;
  site.outward = outward_normal(body, site.point_lps_mm).value_or(-axis_of(a.track));
  site.angle_deg = a.entry_angle_deg;
  return hole_nodes(body, a.track, site);
}

void refuse_both(Tracks& tracks, std::size_t i, std::size_t j, Programme& programme, const std::string& what) {
  const std::string text = "tracks " + tracks[i].track.id + " and " + tracks[j].track.id + ": " + what;
  refuse(tracks[i], text);
  refuse(tracks[j], text);
  programme.findings.push_back({Level::refused, text});
}

double angle_deg(const Track& a, const Track& b) {
  return 180 / std::numbers::pi * std::acos(std::clamp(axis_of(a).dot(axis_of(b)), -1.0, 1.0));
}

double core_distance_mm(const Track& a, const Track& b) {
  const Cylinder p = core_cylinder(a), q = core_cylinder(b);
  return segment_distance_mm(p.start, p.at(p.length_mm), q.start, q.at(q.length_mm));
}

/// Whether the core of one meets the outer cylinder of the other (ends taken as round: a little too careful).
bool core_meets_steel(const Track& core_of, const Track& steel_of) {
  const Cylinder core = core_cylinder(core_of), steel = outer_cylinder(steel_of);
  return segment_distance_mm(core.start, core.at(core.length_mm), steel.start, steel.at(steel.length_mm)) <
         core.radius_mm + steel.radius_mm;
}

void check_pair(const RequestFile& file, const SharedHoles& holes, Tracks& tracks, std::size_t i, std::size_t j,
                Programme& programme) {
  const Track a = tracks[i].track, b = tracks[j].track;
  const auto request = std::ranges::find(file.requests, a.request, &Request::id);
  if (a.request == b.request && request != file.requests.end()) {
    const double distance = core_distance_mm(a, b);
    if (distance < request->spacing_mm - 1e-9)
      refuse_both(tracks, i, j, programme, "the core axes come within " + fixed(distance) + " mm, under the spacing of " +
                                               brief(request->spacing_mm) + " mm by " +
                                               fixed(request->spacing_mm - distance) + " mm");
  }
  if (core_meets_steel(a, b) || core_meets_steel(b, a))
    refuse_both(tracks, i, j, programme, "the core of one meets the needle of the other");
  if (holes.group[i] < 0 || holes.group[j] < 0) return;
  if (holes.group[i] == holes.group[j]) {
    if (angle_deg(a, b) > kFanAngle_deg + 1e-9)
      refuse_both(tracks, i, j, programme, "they share a hole, but their axes differ by " + fixed(angle_deg(a, b)) +
                                               " deg, over the limit of 20 deg by " +
                                               fixed(angle_deg(a, b) - kFanAngle_deg) + " deg");
    return;
  }
  const double apart = (a.entry_lps_mm - b.entry_lps_mm).norm();
  if (apart < file.limits.hole_spacing_mm - 1e-9)
    refuse_both(tracks, i, j, programme, "their holes are " + fixed(apart) + " mm apart, under the limit of " +
                                             brief(file.limits.hole_spacing_mm) + " mm by " +
                                             fixed(file.limits.hole_spacing_mm - apart) + " mm");
}

void check_request(const Request& request, Tracks& tracks, Programme& programme) {
  int count = 0, left = 0, right = 0;
  for (const TrackAssessment& a : tracks) {
    if (a.track.request != request.id) continue;
    ++count;
    left += a.side == "left" ? 1 : 0;
    right += a.side == "right" ? 1 : 0;
  }
  if (count == 0) return;
  if (count != request.replicates)
    programme.findings.push_back({Level::note, "request " + request.id + " asks for " +
                                                   std::to_string(request.replicates) + (request.replicates == 1 ? " core; here are " : " cores; here are ") +
                                                   std::to_string(count)});
  if (request.sides != Sides::both || std::abs(left - right) <= 1) return;
  const std::string text = "request " + request.id + " asks for both sides; " + std::to_string(left) + " left and " +
                           std::to_string(right) + " right differ by more than one";
  programme.findings.push_back({Level::refused, text});
  for (TrackAssessment& a : tracks)
    if (a.track.request == request.id) refuse(a, text);
}

void refuse_equal_ids(const std::vector<Track>& tracks) {
  std::set<std::string> ids;
  for (const Track& track : tracks)
    if (!ids.insert(track.id).second)
      throw BadInput("Two tracks have the id \"" + track.id + "\"; give each its own.");
}

std::vector<double> sum_of(const std::vector<MassDraws>& draws, const auto& wanted) {
  std::vector<double> sum(kMassDraws, 0.0);
  for (std::size_t t = 0; t < draws.size(); ++t)
    if (wanted(t))
      for (std::size_t n = 0; n < sum.size(); ++n) sum[n] += draws[t].requested_mg[n];
  return sum;
}

/// Chance that every core of a request yields the need in the same draw.
double chance_all(const std::vector<MassDraws>& draws, const Tracks& tracks, const Request& request) {
  std::vector<double> least(kMassDraws, 1e300);
  for (std::size_t t = 0; t < draws.size(); ++t)
    if (tracks[t].track.request == request.id)
      for (std::size_t n = 0; n < least.size(); ++n) least[n] = std::min(least[n], draws[t].requested_mg[n]);
  return chance_of_at_least(least, request.need_mg());
}

/// p_enough of each track and of each request.
void judge_masses(const RequestFile& file, const std::vector<MassDraws>& draws, Tracks& tracks, Programme& programme) {
  for (const Request& request : file.requests) {
    const auto is_of = [&](std::size_t t) { return tracks[t].track.request == request.id; };
    if (std::ranges::none_of(tracks, [&](const auto& a) { return a.track.request == request.id; })) continue;
    const double together = chance_of_at_least(sum_of(draws, is_of), request.need_mg());
    programme.p_enough[request.id] = request.pooled ? together : chance_all(draws, tracks, request);
    for (std::size_t t = 0; t < tracks.size(); ++t) {
      if (!is_of(t)) continue;
      const double p = request.pooled ? together : chance_of_at_least(draws[t].requested_mg, request.need_mg());
      judge_enough(tracks[t], p, request.need_mg(), file.limits.p_enough_min,
                   request.pooled ? "the cores of " + request.id + " together yield" : "the core yields");
    }
  }
}

}  // namespace

void judge_enough(TrackAssessment& a, double p_enough, double need_mg, double least, const std::string& what) {
  a.core.p_enough = p_enough;
  if (p_enough < least)
    refuse(a, "the chance that " + what + " " + brief(need_mg) + " mg is " + fixed(p_enough, 3) +
                  ", under the limit of " + brief(least) + " by " + fixed(least - p_enough, 3));
}

SharedHoles shared_holes(const Body& body, const Tracks& tracks) {
  SharedHoles holes;
  holes.group.assign(tracks.size(), -1);
  holes.own_part.assign(tracks.size(), 1.0);
  for (std::size_t i = 0; i < tracks.size(); ++i) {
    if (tracks[i].through_opening) continue;
    if (holes.group[i] < 0) holes.group[i] = static_cast<int>(i);
    const std::vector<HoleNode> nodes = nodes_of(body, tracks[i]);
    double part = 0;
    for (const HoleNode& node : nodes) {
      int shared_by = 1;
      for (std::size_t j = 0; j < tracks.size(); ++j) {
        if (j == i || tracks[j].through_opening || !inside_cylinder_line(tracks[j].track, node.on_surface_lps_mm)) continue;
        // A line goes on for ever: the far side of the body is another hole.
        if ((tracks[j].track.entry_lps_mm - tracks[i].track.entry_lps_mm).norm() >
            tracks[i].track.needle.outer_mm * 10) continue;
        ++shared_by;
        const int mine = holes.group[i], other = holes.group[j] < 0 ? static_cast<int>(j) : holes.group[j];
        holes.group[j] = other;
        for (int& group : holes.group)
          if (group == std::max(mine, other)) group = std::min(mine, other);
      }
      part += 1.0 / shared_by;
    }
    holes.own_part[i] = part / static_cast<double>(nodes.size());
  }
  holes.count = static_cast<int>(std::set<int>(holes.group.begin(), holes.group.end()).size());
  if (std::ranges::find(holes.group, -1) != holes.group.end()) --holes.count;
  return holes;
}

double score_together(const Tracks& tracks, const SharedHoles& holes) {
  double score = 0;
  for (std::size_t t = 0; t < tracks.size(); ++t)
    for (const auto& [name, value] : tracks[t].damage.parts) {
      const bool of_hole = name == "hole" || name.starts_with("zone ");
      score += of_hole ? value * holes.own_part[t] : value;
    }
  return score;
}

void check_together(const RequestFile& file, const SharedHoles& holes, Tracks& tracks, Programme& programme) {
  for (std::size_t i = 0; i < tracks.size(); ++i)
    for (std::size_t j = i + 1; j < tracks.size(); ++j) check_pair(file, holes, tracks, i, j, programme);
  for (const Request& request : file.requests) check_request(request, tracks, programme);
}

Assessment Assessor::assess(const std::vector<Track>& tracks) const {
  refuse_equal_ids(tracks);
  Assessment all;
  all.tracks.resize(tracks.size());
  std::vector<MassDraws> draws(tracks.size());
  for_each_chunk(tracks.size(), 1, [&](std::size_t n, std::size_t) { all.tracks[n] = with_chances(tracks[n], draws[n]); });
  judge_masses(file_, draws, all.tracks, all.programme);
  const SharedHoles holes = shared_holes(*body_, all.tracks);
  check_together(file_, holes, all.tracks, all.programme);
  all.programme.score = score_together(all.tracks, holes);
  all.programme.holes = holes.count;
  for (std::size_t t = 0; t < tracks.size(); ++t)
    if (holes.group[t] >= 0) all.programme.hole_mm2 += all.tracks[t].hole_area_mm2 * holes.own_part[t];
  const std::vector<double> sum = sum_of(draws, [](std::size_t) { return true; });
  all.programme.mass_mg = quantile_of(sum, 0.5);
  all.programme.mass_mg_p05 = quantile_of(sum, 0.05);
  all.programme.mass_mg_p95 = quantile_of(sum, 0.95);
  return all;
}

}  // namespace leastharm
