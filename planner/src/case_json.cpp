// case.json: the case as people and other programs can read it. Keys carry their unit.
#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "planner/case.h"

namespace leastharm {
namespace {

using nlohmann::json;

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

Vec3 to_vec(const json& j) {
  if (!j.is_array() || j.size() != 3) throw BadInput("case.json: a point or vector needs three numbers");
  return {j[0].get<double>(), j[1].get<double>(), j[2].get<double>()};
}

json from_grid(const Grid& grid) {
  json direction = json::array();
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column) direction.push_back(grid.direction(row, column));
  return {{"size", grid.size},
          {"spacing_mm", from_vec(grid.spacing_mm)},
          {"origin_lps_mm", from_vec(grid.origin_lps_mm)},
          {"direction", direction}};
}

Grid to_grid(const json& j) {
  Grid grid;
  grid.size = j.at("size").get<std::array<int, 3>>();
  grid.spacing_mm = to_vec(j.at("spacing_mm"));
  grid.origin_lps_mm = to_vec(j.at("origin_lps_mm"));
  for (int n = 0; n < 9; ++n)
    grid.direction(n / 3, n % 3) = j.at("direction").at(static_cast<std::size_t>(n)).get<double>();
  return grid;
}

json from_findings(const std::vector<Finding>& findings) {
  json list = json::array();
  for (const Finding& f : findings) list.push_back({{"level", name_of(f.level)}, {"what", f.what}});
  return list;
}

std::vector<Finding> to_findings(const json& list) {
  std::vector<Finding> findings;
  for (const json& j : list) {
    const auto level = j.at("level").get<std::string>();
    findings.push_back({level == "note"     ? Level::note
                        : level == "mended" ? Level::mended
                                            : Level::refused,
                        j.at("what").get<std::string>()});
  }
  return findings;
}

json from_frame(const BodyFrame& frame) {
  json midline = json::array();
  for (const Vec3& p : frame.midline_lps_mm) midline.push_back(from_vec(p));
  return {{"head", from_vec(frame.head)},
          {"front", from_vec(frame.front)},
          {"midline_lps_mm", midline},
          {"certainty", frame.certainty}};
}

BodyFrame to_frame(const json& j) {
  BodyFrame frame;
  frame.head = to_vec(j.at("head"));
  frame.front = to_vec(j.at("front"));
  for (const json& p : j.at("midline_lps_mm")) frame.midline_lps_mm.push_back(to_vec(p));
  frame.certainty = j.at("certainty").get<double>();
  return frame;
}

MarkKind mark_kind(const std::string& name) {
  for (const MarkKind kind : {MarkKind::cavity, MarkKind::keep_out, MarkKind::opening, MarkKind::zone})
    if (name_of(kind) == name) return kind;
  throw BadInput("case.json: unknown kind of mark \"" + name + "\"");
}

LesserChoice lesser_choice(const std::string& name) {
  for (const LesserChoice choice : kLesserChoices)
    if (name_of(choice) == name) return choice;
  throw BadInput("case.json: unknown lesser choice \"" + name + "\"");
}

json from_mark(const MarkRecord& m) {
  return {{"name", m.name},     {"as", name_of(m.kind)},   {"weight_mm", m.weight_mm}, {"made_by", m.made_by},
          {"file", m.file},     {"sha256", m.sha256},      {"volume_mm3", m.volume_mm3}};
}

MarkRecord to_mark(const json& j) {
  return {j.at("name"),   mark_kind(j.at("as")), j.at("weight_mm"), j.at("made_by"),
          j.at("file"),   j.at("sha256"),        j.at("volume_mm3")};
}

json from_tracks(const std::vector<Track>& tracks) {
  json list = json::array();
  for (const Track& t : tracks) list.push_back(to_json(t));
  return list;
}

std::vector<Track> to_tracks(const json& list) {
  return list.empty() ? std::vector<Track>{} : parse_tracks({{"tracks", list}}, "");
}

json from_plan(const PlannedTracks& plan) {
  json j{{"tracks", from_tracks(plan.tracks)}, {"stopped", plan.stopped}};
  if (plan.certificate) j["certificate"] = to_json(*plan.certificate);
  if (plan.firmness)
    j["firmness"] = {{"first_in_100", plan.firmness->first_in_100},
                     {"changed_by", plan.firmness->changed_by},
                     {"rivals", plan.firmness->rivals}};
  return j;
}

PlannedTracks to_plan(const json& j) {
  PlannedTracks plan;
  plan.tracks = to_tracks(j.at("tracks"));
  plan.stopped = j.at("stopped");
  if (j.contains("certificate")) {
    const json& c = j["certificate"];
    plan.certificate = Certificate{c.at("lower_bound"), c.at("gap"), c.at("covers"), c.at("method")};
  }
  if (j.contains("firmness"))
    plan.firmness = Firmness{j["firmness"].at("first_in_100"), j["firmness"].at("changed_by"), j["firmness"].value("rivals", 0)};
  return plan;
}

json from_approval(const Approval& a) {
  return {{"role", a.role},         {"by", a.by},     {"at", a.at},
          {"decision", a.decision}, {"condition", a.condition}, {"note", a.note},
          {"plan_sha256", a.plan_sha256}, {"parts_sha256", a.parts}, {"voided", a.voided}};
}

Approval to_approval(const json& j) {
  return {j.at("role"),      j.at("by"),   j.at("at"),          j.at("decision"),
          j.at("condition"), j.at("note"), j.at("plan_sha256"), j.at("parts_sha256"), j.at("voided")};
}

json from_volumes(const PerMaterial<double>& volumes) {
  json j = json::object();
  for (std::size_t m = 0; m < kMaterialCount; ++m) j[std::string(kMaterialNames[m])] = volumes[m];
  return j;
}

template <typename T, typename Read>
std::vector<T> list_of(const json& j, Read read) {
  std::vector<T> list;
  std::ranges::transform(j, std::back_inserter(list), read);
  return list;
}

template <typename T, typename Write>
json json_list(const std::vector<T>& items, Write write) {
  json list = json::array();
  for (const T& item : items) list.push_back(write(item));
  return list;
}

}  // namespace

json to_json(const CtReference& ct) {
  return {{"path", ct.path},
          {"series_uid", ct.series_uid},
          {"frame_of_reference_uid", ct.frame_of_reference_uid},
          {"sha256", ct.sha256},
          {"facts", ct.facts},
          {"grid", from_grid(ct.grid)},
          {"correct_air", ct.correct_air},
          {"air_check_hu", std::isnan(ct.air_check_hu) ? json() : json(ct.air_check_hu)},
          {"noise_hu", ct.noise_hu},
          {"findings", from_findings(ct.findings)}};
}

CtReference parse_ct_reference(const json& j) {
  return {j.at("path"),  j.at("series_uid"),        j.at("frame_of_reference_uid"),
          j.at("sha256"), j.at("facts"),            to_grid(j.at("grid")),
          j.at("correct_air"),
          j.at("air_check_hu").is_null() ? std::nan("") : j.at("air_check_hu").get<double>(),
          j.at("noise_hu"), to_findings(j.at("findings"))};
}

json to_json(const CaseFile& file) {
  json j{{"schema", kCaseSchema},
         {"object_id", file.object_id},
         {"ct", to_json(file.ct)},
         {"materials_sha256", file.materials_sha256},
         {"confidence_sha256", file.confidence_sha256},
         {"volume_mm3", from_volumes(file.volume_mm3)},
         {"map_findings", from_findings(file.map_findings)},
         {"proposed_frame", from_frame(file.proposed_frame)},
         {"marks", json_list(file.marks, from_mark)},
         {"plan", from_plan(file.plan)},
         {"plan_version", file.plan_version},
         {"last_plan_sha256", file.last_plan_sha256},
         {"approvals", json_list(file.approvals, from_approval)}};
  if (file.frame)
    j["frame"] = {{"directions", from_frame(*file.frame)}, {"by", file.frame_by}, {"at", file.frame_at}};
  if (file.request) j["request"] = to_json(*file.request);
  j["waivers"] = json_list(file.waivers, [](const Waiver& w) {
    return json{{"mark", w.mark}, {"mark_sha256", w.mark_sha256}, {"by", w.by}, {"why", w.why}, {"at", w.at}};
  });
  j["alternatives"] = json_list(file.alternatives, [](const AlternativeTracks& a) {
    return json{{"id", a.id}, {"best_in", a.best_in}, {"in_place_of", a.in_place_of}, {"tracks", from_tracks(a.tracks)}};
  });
  j["prices"] = json_list(file.prices, [](const PricedTracks& p) {
    return json{{"choice", name_of(p.choice)}, {"found", p.found}, {"tracks", from_tracks(p.tracks)}};
  });
  j["records"] = json_list(file.records, [](const Record& r) { return to_json(r); });
  j["printouts"] = json_list(file.printouts, [](const Printout& p) {
    return json{{"file", p.file}, {"sha256", p.sha256}, {"plan_sha256", p.plan_sha256}};
  });
  return j;
}

CaseFile parse_case_file(const json& j) {
  const int schema = j.value("schema", 0);
  if (schema > kCaseSchema)
    throw BadInput("case.json has schema " + std::to_string(schema) + ", this program reads up to " +
                   std::to_string(kCaseSchema) + ": use a newer version of leastharm");
  if (schema < 1) throw BadInput("case.json has no schema number: it is no case of leastharm, or damaged");
  CaseFile file;
  file.object_id = j.at("object_id");
  file.ct = parse_ct_reference(j.at("ct"));
  file.materials_sha256 = j.at("materials_sha256");
  file.confidence_sha256 = j.at("confidence_sha256");
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    file.volume_mm3[m] = j.at("volume_mm3").at(std::string(kMaterialNames[m]));
  file.map_findings = to_findings(j.at("map_findings"));
  file.proposed_frame = to_frame(j.at("proposed_frame"));
  if (j.contains("frame")) {
    file.frame = to_frame(j["frame"].at("directions"));
    file.frame_by = j["frame"].at("by");
    file.frame_at = j["frame"].at("at");
  }
  file.marks = list_of<MarkRecord>(j.at("marks"), to_mark);
  file.waivers = list_of<Waiver>(j.at("waivers"), [](const json& w) {
    return Waiver{w.at("mark"), w.at("mark_sha256"), w.at("by"), w.at("why"), w.at("at")};
  });
  if (j.contains("request")) file.request = parse_request_file(j["request"]);
  file.plan = to_plan(j.at("plan"));
  file.alternatives = list_of<AlternativeTracks>(j.at("alternatives"), [](const json& a) {
    return AlternativeTracks{a.at("id"), a.at("best_in"), a.value("in_place_of", ""), to_tracks(a.at("tracks"))};
  });
  file.prices = list_of<PricedTracks>(j.value("prices", json::array()), [](const json& p) {
    return PricedTracks{lesser_choice(p.at("choice")), p.at("found"), to_tracks(p.at("tracks"))};
  });
  file.plan_version = j.at("plan_version");
  file.last_plan_sha256 = j.at("last_plan_sha256");
  file.approvals = list_of<Approval>(j.at("approvals"), to_approval);
  if (j.contains("records")) file.records = list_of<Record>(j["records"], parse_record);
  file.printouts = list_of<Printout>(j.at("printouts"), [](const json& p) {
    return Printout{p.at("file"), p.at("sha256"), p.at("plan_sha256")};
  });
  return file;
}

}  // namespace leastharm
