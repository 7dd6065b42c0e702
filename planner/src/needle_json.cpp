#include <algorithm>

#include "imaging/error.h"
#include "json_reader.h"
#include "planner/needle.h"
#include "planner/request.h"

namespace leastharm {

using nlohmann::json;

namespace {

Needle catalogue_needle(const std::string& name, const std::string& where) {
  const auto& catalogue = needle_catalogue();
  const auto found = std::ranges::find(catalogue, name, &Needle::name);
  if (found != catalogue.end()) return *found;
  std::vector<std::string> names;
  for (const Needle& needle : catalogue) names.push_back(needle.name);
  refuse_unknown(where, name, names);
}

void read_recovery(const JsonObject& object, Needle& needle) {
  if (!object.has("recovery")) return;
  const json& range = object.at("recovery");
  const std::string path = object.path_of("recovery");
  if (!range.is_array() || range.size() != 2)
    throw BadInput(path + " must be two numbers [5 % point, 95 % point] above 0 and up to 1.");
  needle.recovery_p05 = read_number(range[0], path + "[0]", {0, 1, true});
  needle.recovery_p95 = read_number(range[1], path + "[1]", {0, 1, true});
}

}  // namespace

Needle parse_needle(const json& value, const std::string& where) {
  if (value.is_string()) return catalogue_needle(value.get<std::string>(), where);
  const JsonObject object(value, where, {"name", "outer_mm", "bore_mm", "throw_mm", "usable_mm", "kind", "dead_tip_mm",
                                         "recovery", "bore_tolerance_mm", "source"});
  Needle needle;
  needle.name = object.text_or("name", "");
  needle.outer_mm = object.number("outer_mm", {0, 20, true});
  needle.bore_mm = object.number("bore_mm", {0, 20, true});
  needle.throw_mm = object.number("throw_mm", {0, 1000, true});
  needle.usable_mm = object.number("usable_mm", {0, 1000, true});
  if (object.has("kind") && object.choice("kind", {"end-cut", "side-notch"}) == "side-notch") {
    needle.kind = NeedleKind::side_notch;
    needle.recovery_p05 = 0.25;   // as the catalogue's side-notch needles
    needle.recovery_p95 = 0.42;
  }
  needle.dead_tip_mm = object.number_or("dead_tip_mm", 0, {0, 100});
  read_recovery(object, needle);
  needle.bore_tolerance_mm =
      object.number_or("bore_tolerance_mm", std::min(needle.bore_tolerance_mm, needle.bore_mm / 4), {0, 1});
  needle.source = object.text_or("source", "");
  check_needle(needle, where);
  return needle;
}

json to_json(const Needle& needle) {
  json out{{"outer_mm", needle.outer_mm},
           {"bore_mm", needle.bore_mm},
           {"throw_mm", needle.throw_mm},
           {"usable_mm", needle.usable_mm},
           {"kind", needle.kind == NeedleKind::end_cut ? "end-cut" : "side-notch"},
           {"dead_tip_mm", needle.dead_tip_mm},
           {"recovery", {needle.recovery_p05, needle.recovery_p95}},
           {"bore_tolerance_mm", needle.bore_tolerance_mm}};
  if (!needle.name.empty()) out["name"] = needle.name;
  if (!needle.source.empty()) out["source"] = needle.source;
  return out;
}

json needles_json() {
  json list = json::array();
  for (const Needle& needle : needle_catalogue()) list.push_back(to_json(needle));
  return {{"needles", list}};
}

}  // namespace leastharm
