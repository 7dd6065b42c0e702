// case.json: the case as people and other programs can read it. Keys carry their unit.
#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "json_reader.h"
#include "planner/case.h"
#include "planner/json_file.h"

namespace leastharm {
namespace {

using nlohmann::json;

constexpr std::array kLevels{Level::note, Level::mended, Level::refused};
constexpr std::array kMarkKinds{MarkKind::cavity, MarkKind::keep_out, MarkKind::opening, MarkKind::zone};

std::vector<std::string> names_of(const auto& values) {
  std::vector<std::string> names;
  for (const auto value : values) names.emplace_back(name_of(value));
  return names;
}

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

Vec3 to_vec(const JsonPart& j) {
  const std::vector<JsonPart> items = j.items();
  if (items.size() != 3) throw BadInput(j.path() + " must be three numbers.");
  return {items[0].number(), items[1].number(), items[2].number()};
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

Grid to_grid(const JsonPart& j) {
  constexpr int kMostVoxels = 1 << 16;   // along one axis
  constexpr Allowed kSpacing{0, 1000, true}, kCosine{-1.001, 1.001};
  Grid grid;
  const std::vector<JsonPart> size = j.at("size").items(), spacing = j.at("spacing_mm").items(), direction = j.at("direction").items();
  if (size.size() != 3 || spacing.size() != 3 || direction.size() != 9)
    throw BadInput(j.path() + " needs three sizes, three spacings and nine direction cosines.");
  for (std::size_t a = 0; a < 3; ++a) {
    grid.size[a] = size[a].whole(1, kMostVoxels);
    grid.spacing_mm[static_cast<Eigen::Index>(a)] = spacing[a].number(kSpacing);
  }
  grid.origin_lps_mm = to_vec(j.at("origin_lps_mm"));
  for (int n = 0; n < 9; ++n) grid.direction(n / 3, n % 3) = direction[static_cast<std::size_t>(n)].number(kCosine);
  if (!(grid.direction.transpose() * grid.direction).isIdentity(1e-3))
    throw BadInput(j.at("direction").path() + " is no set of three unit vectors square to each other.");
  return grid;
}

json from_findings(const std::vector<Finding>& findings) {
  json list = json::array();
  for (const Finding& f : findings) list.push_back({{"level", name_of(f.level)}, {"what", f.what}});
  return list;
}

std::vector<Finding> to_findings(const JsonPart& list) {
  std::vector<Finding> findings;
  for (const JsonPart& j : list.items())
    findings.push_back({kLevels[j.at("level").choice(names_of(kLevels))], j.at("what").text()});
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

BodyFrame to_frame(const JsonPart& j) {
  BodyFrame frame;
  frame.head = to_vec(j.at("head"));
  frame.front = to_vec(j.at("front"));
  for (const JsonPart& p : j.at("midline_lps_mm").items()) frame.midline_lps_mm.push_back(to_vec(p));
  frame.certainty = j.at("certainty").number();
  return frame;
}

json from_mark(const MarkRecord& m) {
  return {{"name", m.name},     {"as", name_of(m.kind)},   {"weight_mm", m.weight_mm}, {"made_by", m.made_by},
          {"file", m.file},     {"sha256", m.sha256},      {"volume_mm3", m.volume_mm3}};
}

MarkRecord to_mark(const JsonPart& j) {
  return {j.at("name").text(), kMarkKinds[j.at("as").choice(names_of(kMarkKinds))], j.at("weight_mm").number({0}), j.at("made_by").raw(),
          j.at("file").place(), j.at("sha256").text(), j.at("volume_mm3").number({0})};
}

json from_tracks(const std::vector<Track>& tracks) {
  json list = json::array();
  for (const Track& t : tracks) list.push_back(to_json(t));
  return list;
}

std::vector<Track> to_tracks(const JsonPart& list) {
  if (list.items().empty()) return {};
  return naming(list.path(), [&] { return parse_tracks({{"tracks", list.raw()}}, ""); });
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

PlannedTracks to_plan(const JsonPart& j) {
  PlannedTracks plan;
  plan.tracks = to_tracks(j.at("tracks"));
  plan.stopped = j.at("stopped").text();
  if (const auto c = j.find("certificate"))
    plan.certificate = Certificate{c->at("lower_bound").number(), c->at("gap").number(), c->at("covers").text(), c->at("method").text()};
  if (const auto f = j.find("firmness")) {
    const auto rivals = f->find("rivals");
    plan.firmness = Firmness{f->at("first_in_100").whole(0, 100), f->at("changed_by").texts(), rivals ? rivals->whole(0) : 0};
  }
  return plan;
}

json from_approval(const Approval& a) {
  return {{"role", a.role},         {"by", a.by},     {"at", a.at},
          {"decision", a.decision}, {"condition", a.condition}, {"note", a.note},
          {"plan_sha256", a.plan_sha256}, {"parts_sha256", a.parts}, {"voided", a.voided}};
}

Approval to_approval(const JsonPart& j) {
  const auto text = [&](const char* key) { return j.at(key).text(); };
  return {text("role"), text("by"),   text("at"),          text("decision"),
          text("condition"), text("note"), text("plan_sha256"), j.at("parts_sha256").texts_by_key(), text("voided")};
}

json from_volumes(const PerMaterial<double>& volumes) {
  json j = json::object();
  for (std::size_t m = 0; m < kMaterialCount; ++m) j[std::string(kMaterialNames[m])] = volumes[m];
  return j;
}

template <typename T, typename Read>
std::vector<T> list_of(const JsonPart& j, Read read) {
  std::vector<T> list;
  for (const JsonPart& item : j.items()) list.push_back(read(item));
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

CtReference parse_ct_reference(const json& value, const std::string& path) {
  const JsonPart j(value, path);
  const JsonPart air = j.at("air_check_hu");
  return {j.at("path").place(),  j.at("series_uid").text(), j.at("frame_of_reference_uid").text(),
          j.at("sha256").text(), j.at("facts").texts_by_key(), to_grid(j.at("grid")),
          j.at("correct_air").flag(),
          air.raw().is_null() ? std::nan("") : air.number(),
          j.at("noise_hu").number({0}), to_findings(j.at("findings"))};
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

void check_case_schema(const json& j) {
  const json schema = j.is_object() ? j.value("schema", json(0)) : json(0);
  if (!schema.is_number_integer() || schema < 1)
    throw BadInput("case.json has no schema number: it is no case of leastharm, or damaged");
  if (schema > kCaseSchema)
    throw BadInput("case.json has schema " + schema.dump() + ", this program reads up to " + std::to_string(kCaseSchema) +
                   ": use a newer version of leastharm");
}

CaseFile parse_case_file(const json& value) {
  check_case_schema(value);
  const JsonPart j(value, "");
  CaseFile file;
  file.object_id = j.at("object_id").text();
  file.ct = parse_ct_reference(j.at("ct").raw(), "ct");
  file.materials_sha256 = j.at("materials_sha256").text();
  file.confidence_sha256 = j.at("confidence_sha256").text();
  for (std::size_t m = 0; m < kMaterialCount; ++m) file.volume_mm3[m] = j.at("volume_mm3").at(kMaterialNames[m].data()).number({0});
  file.map_findings = to_findings(j.at("map_findings"));
  file.proposed_frame = to_frame(j.at("proposed_frame"));
  if (const auto frame = j.find("frame")) {
    file.frame = to_frame(frame->at("directions"));
    file.frame_by = frame->at("by").text();
    file.frame_at = frame->at("at").text();
  }
  file.marks = list_of<MarkRecord>(j.at("marks"), to_mark);
  file.waivers = list_of<Waiver>(j.at("waivers"), [](const JsonPart& w) {
    return Waiver{w.at("mark").text(), w.at("mark_sha256").text(), w.at("by").text(), w.at("why").text(), w.at("at").text()};
  });
  if (const auto request = j.find("request")) file.request = naming("request", [&] { return parse_request_file(request->raw()); });
  file.plan = to_plan(j.at("plan"));
  file.alternatives = list_of<AlternativeTracks>(j.at("alternatives"), [](const JsonPart& a) {
    const auto place = a.find("in_place_of");
    return AlternativeTracks{a.at("id").text(), a.at("best_in").text(), place ? place->text() : "", to_tracks(a.at("tracks"))};
  });
  if (const auto prices = j.find("prices"))
    file.prices = list_of<PricedTracks>(*prices, [](const JsonPart& p) {
      return PricedTracks{kLesserChoices[p.at("choice").choice(names_of(kLesserChoices))], p.at("found").flag(), to_tracks(p.at("tracks"))};
    });
  file.plan_version = j.at("plan_version").whole(0);
  file.last_plan_sha256 = j.at("last_plan_sha256").text();
  file.approvals = list_of<Approval>(j.at("approvals"), to_approval);
  if (const auto records = j.find("records"))
    file.records = list_of<Record>(*records, [](const JsonPart& r) { return parse_record(r.raw(), r.path()); });
  file.printouts = list_of<Printout>(j.at("printouts"), [](const JsonPart& p) {
    return Printout{p.at("file").place(), p.at("sha256").text(), p.at("plan_sha256").text()};
  });
  return file;
}

}  // namespace leastharm
