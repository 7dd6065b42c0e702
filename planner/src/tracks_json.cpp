#include <set>

#include "imaging/error.h"
#include "json_reader.h"
#include "planner/assess.h"

namespace leastharm {

using nlohmann::json;

namespace {

Vec3 read_point(const JsonObject& object, const char* key) {
  const json& value = object.at(key);
  const std::string path = object.path_of(key);
  if (!value.is_array() || value.size() != 3)
    throw BadInput(path + " must be three numbers [x, y, z], LPS in mm.");
  Vec3 point;
  for (std::size_t a = 0; a < 3; ++a)
    point[static_cast<Eigen::Index>(a)] = read_number(value[a], path + "[" + std::to_string(a) + "]", {-1e5, 1e5});
  return point;
}

Track read_track(const json& value, const std::string& path) {
  const JsonObject object(value, path, {"id", "entry_lps_mm", "tip_lps_mm", "needle", "request"});
  Track track;
  track.id = object.text("id");
  track.entry_lps_mm = read_point(object, "entry_lps_mm");
  track.tip_lps_mm = read_point(object, "tip_lps_mm");
  if ((track.tip_lps_mm - track.entry_lps_mm).norm() < 1e-6)
    throw BadInput(path + ": entry_lps_mm and tip_lps_mm coincide; give two different points.");
  track.needle = parse_needle(object.at("needle"), object.path_of("needle"));
  track.request = object.text_or("request", "");
  return track;
}

json to_json(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

/// Materials that occur, by name.
json to_json(const PerMaterial<double>& values) {
  json out = json::object();
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    if (values[m] > 0) out[std::string(kMaterialNames[m])] = values[m];
  return out;
}

json to_json(const std::vector<Finding>& findings) {
  json out = json::array();
  for (const Finding& finding : findings) out.push_back({{"level", name_of(finding.level)}, {"what", finding.what}});
  return out;
}

json to_json(const std::vector<Crossing>& crossings) {
  json out = json::array();
  for (const Crossing& c : crossings)
    out.push_back({{"material", name_of(c.material)}, {"from_mm", c.from_mm}, {"to_mm", c.to_mm}});
  return out;
}

json to_json(const CoreYield& core) {
  return {{"volume_mm3", core.volume_mm3},
          {"by_material_mm3", to_json(core.by_material_mm3)},
          {"requested_mm3", core.requested_mm3},
          {"foreign_fraction", core.foreign_fraction},
          {"mass_mg", core.mass_mg},
          {"mass_mg_p05", core.mass_mg_p05},
          {"mass_mg_p95", core.mass_mg_p95},
          {"all_mass_mg", core.all_mass_mg},
          {"p_enough", core.p_enough ? json(*core.p_enough) : json(nullptr)}};
}

json to_json(const Damage& damage) {
  json parts = json::object();
  for (const auto& [name, value] : damage.parts) parts[name] = value;
  return {{"score", damage.score}, {"parts", parts}};
}

}  // namespace

std::vector<Track> parse_tracks(const json& value, const std::string& frame_of_reference_uid) {
  const JsonObject file(value, "", {"tracks", "frame_of_reference_uid"});
  if (file.has("frame_of_reference_uid")) {
    const std::string uid = file.text("frame_of_reference_uid");
    if (uid != frame_of_reference_uid)
      throw BadInput("frame_of_reference_uid is " + uid + ", the CT's is " +
                     (frame_of_reference_uid.empty() ? "not known" : frame_of_reference_uid) +
                     ": these tracks belong to another CT; transfer them first.");
  }
  std::vector<Track> tracks;
  std::set<std::string> ids;
  const json& list = file.list("tracks");
  for (std::size_t n = 0; n < list.size(); ++n) {
    const std::string path = "tracks[" + std::to_string(n) + "]";
    tracks.push_back(read_track(list[n], path));
    if (!ids.insert(tracks.back().id).second)
      throw BadInput(path + ".id is \"" + tracks.back().id + "\", which another track has too; ids must differ.");
  }
  return tracks;
}

json to_json(const Track& track) {
  json out{{"id", track.id},
           {"entry_lps_mm", to_json(track.entry_lps_mm)},
           {"tip_lps_mm", to_json(track.tip_lps_mm)},
           {"needle", to_json(track.needle)}};
  if (!track.request.empty()) out["request"] = track.request;
  return out;
}

json to_json(const TrackAssessment& a) {
  json out = to_json(a.track);
  out.update({{"path_length_mm", a.path_length_mm},
              {"entry_angle_deg", a.entry_angle_deg},
              {"tilt_deg", a.tilt_deg},
              {"side", a.side},
              {"admissible", a.admissible},
              {"crossings", to_json(a.crossings)},
              {"swept_mm3", to_json(a.swept_mm3)},
              {"hole_area_mm2", a.hole_area_mm2},
              {"through_opening", a.through_opening},
              {"clearance_mm", a.clearance_mm},
              {"core", to_json(a.core)},
              {"p_reach", a.p_reach},
              {"p_touch", a.p_touch},
              {"p_touch_se", a.p_touch_se},
              {"damage", to_json(a.damage)},
              {"findings", to_json(a.findings)}});
  return out;
}

json to_json(const Assessment& assessment) {
  json tracks = json::array();
  for (const TrackAssessment& a : assessment.tracks) tracks.push_back(to_json(a));
  const Programme& p = assessment.programme;
  return {{"tracks", tracks},
          {"programme",
           {{"score", p.score},
            {"holes", p.holes},
            {"hole_mm2", p.hole_mm2},
            {"mass_mg", p.mass_mg},
            {"mass_mg_p05", p.mass_mg_p05},
            {"mass_mg_p95", p.mass_mg_p95},
            {"p_enough", p.p_enough},
            {"findings", to_json(p.findings)}}}};
}

json to_json(const Certificate& certificate) {
  return {{"lower_bound", certificate.lower_bound},
          {"gap", certificate.gap},
          {"covers", certificate.covers},
          {"method", certificate.method}};
}

}  // namespace leastharm
