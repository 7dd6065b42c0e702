#include "planner/request.h"

#include <set>

#include "imaging/error.h"
#include "json_reader.h"
#include "planner/json_file.h"
#include "planner/text.h"

namespace leastharm {

using nlohmann::json;

namespace {

constexpr double kMostMg = 1e6;

const std::vector<std::string>& material_names() {
  static const std::vector<std::string> names(kMaterialNames.begin(), kMaterialNames.end());
  return names;
}

constexpr std::array kSidesNames{"any", "left", "right", "both"};   // in the order of Sides

Material read_material(const JsonObject& from) {
  const std::string name = from.choice("material", material_names());
  if (name == "air" || name == "support")
    throw BadInput(from.path_of("material") + " is \"" + name + "\", of which no sample can be taken.");
  return *material_named(name);
}

void read_from(const json& value, const std::string& path, Request& request) {
  const JsonObject from(value, path, {"cavity", "material", "filling"});
  if (!from.has("cavity") && !from.has("material"))
    throw BadInput(path + " is empty; give \"cavity\" (a mark's name), \"material\", or both.");
  if (from.has("cavity")) request.cavity = from.text("cavity");
  if (from.has("material")) request.material = read_material(from);
  if (!from.has("filling")) return;
  if (request.material && request.material != Material::packing)
    throw BadInput(from.path_of("filling") + " says what packing consists of, but " + from.path_of("material") + " is \"" +
                   std::string(name_of(*request.material)) + "\"; leave it out.");
  const std::string filling = from.choice("filling", {kFillingNames.begin(), kFillingNames.end()});
  request.filling = static_cast<Filling>(std::ranges::find(kFillingNames, filling) - kFillingNames.begin());
}

std::vector<Assay> read_assays(const JsonObject& request) {
  std::vector<Assay> assays;
  const json& list = request.list("assays");
  for (std::size_t n = 0; n < list.size(); ++n) {
    const JsonObject assay(list[n], request.path_of("assays") + "[" + std::to_string(n) + "]", {"name", "uses_mg"});
    assays.push_back({assay.text("name"), assay.number("uses_mg", {0, kMostMg})});
  }
  return assays;
}

Sides read_sides(const JsonObject& object) {
  if (!object.has("sides")) return Sides::any;
  const std::string word = object.choice("sides", {kSidesNames.begin(), kSidesNames.end()});
  return static_cast<Sides>(std::ranges::find(kSidesNames, word) - kSidesNames.begin());
}

Request read_request(const json& value, const std::string& path) {
  const JsonObject object(value, path, {"id", "from", "assays", "retain_mg", "pooled", "replicates", "spacing_mm",
                                        "sides", "largest_particle_mm"});
  Request request;
  request.id = object.text("id");
  read_from(object.at("from"), object.path_of("from"), request);
  request.assays = read_assays(object);
  request.retain_mg = object.number_or("retain_mg", 0, {0, kMostMg});
  request.pooled = object.flag_or("pooled", false);
  request.replicates = object.whole_or("replicates", 1, 1, 100);
  request.spacing_mm = object.number_or("spacing_mm", request.spacing_mm, {0, 1000});
  request.sides = read_sides(object);
  request.largest_particle_mm = object.number_or("largest_particle_mm", 0, {0, 100});
  if (request.need_mg() <= 0)
    throw BadInput(path + " needs no mass: every uses_mg is 0 and so is retain_mg; say in retain_mg how much must be "
                   "taken and kept.");
  return request;
}

std::vector<Request> read_requests(const JsonObject& file) {
  std::vector<Request> requests;
  std::set<std::string> ids;
  const json& list = file.list("requests");
  for (std::size_t n = 0; n < list.size(); ++n) {
    const std::string path = "requests[" + std::to_string(n) + "]";
    requests.push_back(read_request(list[n], path));
    if (!ids.insert(requests.back().id).second)
      throw BadInput(path + ".id is \"" + requests.back().id + "\", which another request has too; ids must differ.");
  }
  return requests;
}

std::vector<Needle> read_needles(const JsonObject& file) {
  std::vector<Needle> needles;
  const json& list = file.list("needles");
  for (std::size_t n = 0; n < list.size(); ++n)
    needles.push_back(parse_needle(list[n], "needles[" + std::to_string(n) + "]"));
  return needles;
}

/// The needles that are tried where none is listed: the usual core, one size wider and one finer.
std::vector<Needle> usual_needles() {
  std::vector<Needle> needles;
  for (const char* name : {"core 2.4 mm bore 20 mm", "end-cut 8G 20 mm", "end-cut 13G 20 mm"})
    needles.push_back(parse_needle(name, "needles"));
  return needles;
}

Weights read_weights(const json& value) {
  const JsonObject object(value, "weights", {"air", "wrapping", "body", "packing", "bone", "resin", "dense", "support",
                                             "hole_mm", "protected_per_mm3"});
  Weights weights;
  for (std::size_t m = 0; m < kMaterialCount; ++m) {
    const char* key = kMaterialNames[m].data();
    weights.material[m] = object.number_or(key, weights.material[m], {0, 1e6});
  }
  if (weights.material[0] != 0) throw BadInput("weights.air is not 0; air costs nothing. Leave the key out.");
  weights.hole_mm = object.number_or("hole_mm", weights.hole_mm, {0, 1e6});
  weights.protected_per_mm3 = object.number_or("protected_per_mm3", weights.protected_per_mm3, {0, 1e6});
  return weights;
}

Limits read_limits(const json& value) {
  const JsonObject object(value, "limits", {"entry_angle_deg", "clearance_mm", "tilt_deg", "margin_mm", "bone_mm",
                                            "hole_spacing_mm", "p_enough_min", "p_touch_max"});
  Limits limits;
  limits.entry_angle_deg = object.number_or("entry_angle_deg", limits.entry_angle_deg, {0, 90, true});
  limits.clearance_mm = object.number_or("clearance_mm", limits.clearance_mm, {0, 200});
  limits.tilt_deg = object.number_or("tilt_deg", limits.tilt_deg, {0, 90});
  limits.margin_mm = object.number_or("margin_mm", limits.margin_mm, {0, 100});
  limits.bone_mm = object.number_or("bone_mm", limits.bone_mm, {0, 1000});
  limits.hole_spacing_mm = object.number_or("hole_spacing_mm", limits.hole_spacing_mm, {0, 1000});
  limits.p_enough_min = object.number_or("p_enough_min", limits.p_enough_min, {0, 1});
  limits.p_touch_max = object.number_or("p_touch_max", limits.p_touch_max, {0, 1});
  return limits;
}

Placement read_placement(const json& value) {
  const JsonObject object(value, "placement", {"placement_mm", "depth_mm", "shared_mm"});
  Placement placement;
  placement.placement_mm = object.number_or("placement_mm", placement.placement_mm, {0, 50});
  placement.depth_mm = object.number_or("depth_mm", placement.depth_mm, {0, 50});
  placement.shared_mm = object.number_or("shared_mm", placement.shared_mm, {0, 50});
  if (placement.shared_mm > placement.placement_mm)
    throw BadInput("placement.shared_mm is " + brief(placement.shared_mm) +
                   "; it is the common part of placement_mm and must not exceed it (" + brief(placement.placement_mm) +
                   ").");
  return placement;
}

Dossier read_dossier(const json& value) {
  if (!value.is_object()) throw BadInput("dossier must be an object of texts by topic.");
  Dossier dossier;
  for (const auto& [topic, answer] : value.items()) {
    if (std::ranges::find(dossier_topics(), topic) == dossier_topics().end())
      refuse_unknown("A topic of dossier", topic, dossier_topics());
    if (!answer.is_string()) throw BadInput("dossier." + topic + " must be a text.");
    dossier.answers[topic] = answer.get<std::string>();
  }
  return dossier;
}

json to_json(const Request& request) {
  json assays = json::array(), from = json::object();
  for (const Assay& assay : request.assays) assays.push_back({{"name", assay.name}, {"uses_mg", assay.uses_mg}});
  if (!request.cavity.empty()) from["cavity"] = request.cavity;
  if (request.material) from["material"] = name_of(*request.material);
  if (request.filling != Filling::not_stated) from["filling"] = name_of(request.filling);
  return {{"id", request.id},
          {"from", from},
          {"assays", assays},
          {"retain_mg", request.retain_mg},
          {"pooled", request.pooled},
          {"replicates", request.replicates},
          {"spacing_mm", request.spacing_mm},
          {"sides", kSidesNames[static_cast<std::size_t>(request.sides)]},
          {"largest_particle_mm", request.largest_particle_mm}};
}

}  // namespace

const std::vector<std::string>& dossier_topics() {
  static const std::vector<std::string> topics{
      "object",        "owner",           "legal status",      "consultation",   "question",
      "why not less",  "loose material",  "existing opening",  "archived sample", "smaller mass",
      "one aliquot for several assays",   "condition",         "conditions",     "stop rules",
      "remains",       "custodian",       "analyst",           "operator",       "dose log",
      "pesticide test"};
  return topics;
}

double Request::need_mg() const {
  double need = retain_mg;
  for (const Assay& assay : assays) need += assay.uses_mg;
  return need;
}

Weights::Weights() {
  material.fill(0);
  const auto set = [this](Material m, double weight) { material[static_cast<std::size_t>(m)] = weight; };
  set(Material::wrapping, 0.5);
  set(Material::body, 1);
  set(Material::packing, 0.2);
  set(Material::bone, 4);
  set(Material::resin, 0.5);
  set(Material::dense, 20);
}

RequestFile parse_request_file(const json& value) {
  const JsonObject object(value, "", {"requests", "needles", "weights", "limits", "placement", "dossier", "gap",
                                      "time_s"});
  RequestFile file;
  file.requests = read_requests(object);
  file.needles = object.has("needles") ? read_needles(object) : usual_needles();
  if (object.has("weights")) file.weights = read_weights(object.at("weights"));
  if (object.has("limits")) file.limits = read_limits(object.at("limits"));
  if (object.has("placement")) file.placement = read_placement(object.at("placement"));
  if (object.has("dossier")) file.dossier = read_dossier(object.at("dossier"));
  file.gap = object.number_or("gap", file.gap, {0, 1});
  file.time_s = object.number_or("time_s", file.time_s, {0, 1e6, true});
  return file;
}

RequestFile read_request_file(const std::filesystem::path& path) { return parse_json_file(path, parse_request_file); }

json to_json(const Weights& weights) {
  json out;
  for (std::size_t m = 0; m < kMaterialCount; ++m) out[std::string(kMaterialNames[m])] = weights.material[m];
  out["hole_mm"] = weights.hole_mm;
  out["protected_per_mm3"] = weights.protected_per_mm3;
  return out;
}

json to_json(const Limits& limits) {
  return {{"entry_angle_deg", limits.entry_angle_deg}, {"clearance_mm", limits.clearance_mm},
          {"tilt_deg", limits.tilt_deg},               {"margin_mm", limits.margin_mm},
          {"bone_mm", limits.bone_mm},                 {"hole_spacing_mm", limits.hole_spacing_mm},
          {"p_enough_min", limits.p_enough_min},       {"p_touch_max", limits.p_touch_max}};
}

json to_json(const Placement& placement) {
  return {{"placement_mm", placement.placement_mm},
          {"depth_mm", placement.depth_mm},
          {"shared_mm", placement.shared_mm}};
}

json to_json(const RequestFile& file) {
  json requests = json::array(), needles = json::array();
  for (const Request& request : file.requests) requests.push_back(to_json(request));
  for (const Needle& needle : file.needles) needles.push_back(to_json(needle));
  json out{{"requests", requests},
           {"needles", needles},
           {"weights", to_json(file.weights)},
           {"limits", to_json(file.limits)},
           {"placement", to_json(file.placement)},
           {"gap", file.gap},
           {"time_s", file.time_s}};
  if (!file.dossier.answers.empty()) out["dossier"] = file.dossier.answers;
  return out;
}

}  // namespace leastharm
