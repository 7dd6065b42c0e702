#include <array>

#include "planner/day_card.h"
#include "planner/request.h"

namespace leastharm {
namespace {

using nlohmann::json;

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

Vec3 to_vec(const json& j) {
  const auto p = j.get<std::array<double, 3>>();
  return {p[0], p[1], p[2]};
}

json from_track(const CardTrack& t) {
  json halts = json::array(), findings = json::array();
  for (const Halt& h : t.halts) halts.push_back({{"depth_mm", h.depth_mm}, {"why", h.why}});
  for (const Finding& f : t.findings)
    findings.push_back({{"level", name_of(f.level)}, {"what", f.what}});
  return {{"order", t.order},
          {"id", t.id},
          {"needle", to_json(t.needle)},
          {"entry_lps_mm", from_vec(t.entry_lps_mm)},
          {"slice", t.slice},
          {"right_mm", t.right_mm},
          {"down_mm", t.down_mm},
          {"in_plane_deg", t.in_plane_deg},
          {"out_of_plane_deg", t.out_of_plane_deg},
          {"depth_mm", t.depth_mm},
          {"stop_mm", t.stop_mm},
          {"error_p95_mm", t.error_p95_mm},
          {"placement_mm", t.placement_mm},
          {"halts", halts},
          {"admissible", t.admissible},
          {"findings", findings},
          {"ask_first", t.ask_first}};
}

Level level_named(const std::string& name) {
  return name == "note" ? Level::note : name == "mended" ? Level::mended : Level::refused;
}

CardTrack to_track(const json& j) {
  CardTrack t{.order = j.at("order"),
              .id = j.at("id"),
              .needle = parse_needle(j.at("needle"), "card.needle")};
  t.entry_lps_mm = to_vec(j.at("entry_lps_mm"));
  t.slice = j.at("slice");
  t.right_mm = j.at("right_mm");
  t.down_mm = j.at("down_mm");
  t.in_plane_deg = j.at("in_plane_deg");
  t.out_of_plane_deg = j.at("out_of_plane_deg");
  t.depth_mm = j.at("depth_mm");
  t.stop_mm = j.at("stop_mm");
  t.error_p95_mm = j.at("error_p95_mm");
  t.placement_mm = j.at("placement_mm");
  for (const json& h : j.at("halts")) t.halts.push_back({h.at("depth_mm"), h.at("why")});
  t.admissible = j.at("admissible");
  for (const json& f : j.at("findings"))
    t.findings.push_back({level_named(f.at("level")), f.at("what")});
  t.ask_first = j.at("ask_first");
  return t;
}

}  // namespace

json to_json(const DayCard& card) {
  json list = json::array();
  for (const CardTrack& t : card.tracks) list.push_back(from_track(t));
  return {{"offsets_from", "x = 0, y = 0 of the CT's own coordinates (LPS)"},
          {"picture_middle_lps_mm", from_vec(card.picture_middle_lps_mm)},
          {"tracks", list}};
}

DayCard parse_day_card(const json& j) {
  DayCard card;
  card.picture_middle_lps_mm = to_vec(j.at("picture_middle_lps_mm"));
  for (const json& t : j.at("tracks")) card.tracks.push_back(to_track(t));
  return card;
}

}  // namespace leastharm
