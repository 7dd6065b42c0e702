// What a person wrote down at the table about one core.
#include <cmath>
#include <regex>

#include "imaging/error.h"
#include "json_reader.h"
#include "planner/records.h"
#include "planner/request.h"
#include "planner/text.h"

namespace leastharm {
namespace {

using nlohmann::json;

constexpr double kWeighing_mg = 0.05;  // gross, tare and net are rounded apart from each other
constexpr Allowed kMass{0, 1e6};

std::optional<Vec3> read_position(const JsonObject& file, const char* key) {
  if (!file.has(key)) return std::nullopt;
  const json& value = file.at(key);
  if (!value.is_array() || value.size() != 3)
    throw BadInput(file.path_of(key) + " must be three numbers [x, y, z], LPS in mm");
  Vec3 point;
  for (std::size_t a = 0; a < 3; ++a)
    point[static_cast<Eigen::Index>(a)] = read_number(value[a], file.path_of(key), {-1e5, 1e5});
  return point;
}

std::vector<Person> read_persons(const JsonObject& file) {
  std::vector<Person> persons;
  for (const json& item : file.list("persons")) {
    const JsonObject person(item, "persons[" + std::to_string(persons.size()) + "]",
                            {"name", "role"});
    persons.push_back({person.text("name"), person.text("role")});
  }
  return persons;
}

void read_masses(const JsonObject& file, Taken& taken) {
  taken.gross_mg = file.number("gross_mg", kMass);
  taken.tare_mg = file.number("tare_mg", kMass);
  const double difference = taken.gross_mg - taken.tare_mg;
  if (difference < 0)
    throw BadInput("gross_mg is " + brief(taken.gross_mg) + " and tare_mg " + brief(taken.tare_mg) +
                   ": the container alone cannot weigh more than with the core in it");
  taken.net_mg = file.number_or("net_mg", std::round(difference * 1e4) / 1e4, kMass);
  if (std::abs(taken.net_mg - difference) > kWeighing_mg)
    throw BadInput("net_mg is " + brief(taken.net_mg) + ", gross less tare is " +
                   fixed(difference, 2) + ": weigh again, or correct the one that is wrong");
}

std::string read_time(const JsonObject& file, const char* key) {
  static const std::regex kIso(
      R"(\d{4}-[01]\d-[0-3]\dT[0-2]\d:[0-5]\d(:[0-5]\d)?(Z|[+-][0-2]\d:[0-5]\d))");
  const std::string text = file.text(key);
  if (!std::regex_match(text, kIso))
    throw BadInput(file.path_of(key) + " is \"" + text.substr(0, 40) +
                   "\": give date and time with their zone, as 2026-03-04T10:30:00Z");
  return text;
}

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

}  // namespace

Taken parse_taken(const json& value) {
  const JsonObject file(value, "",
                        {"outcome", "reason", "sample", "entry_lps_mm", "tip_lps_mm", "needle",
                         "gross_mg", "tare_mg", "net_mg", "container", "custodian", "taken_at",
                         "persons", "note", "frame_of_reference_uid"});
  Taken taken;
  taken.aborted = file.choice("outcome", {"taken", "aborted"}) == "aborted";
  taken.entry_lps_mm = read_position(file, "entry_lps_mm");
  taken.tip_lps_mm = read_position(file, "tip_lps_mm");
  if (taken.entry_lps_mm.has_value() != taken.tip_lps_mm.has_value())
    throw BadInput("entry_lps_mm and tip_lps_mm belong together: give both, or neither");
  if (taken.tip_lps_mm && (*taken.tip_lps_mm - *taken.entry_lps_mm).norm() < 1e-6)
    throw BadInput("entry_lps_mm and tip_lps_mm coincide; give two different points");
  if (file.has("needle")) taken.needle = parse_needle(file.at("needle"), "needle");
  taken.taken_at = read_time(file, "taken_at");
  taken.persons = read_persons(file);
  taken.note = file.text_or("note", "");
  taken.frame_of_reference_uid = file.text_or("frame_of_reference_uid", "");
  if (taken.aborted) {
    taken.reason = file.text("reason");
    for (const char* key : {"sample", "gross_mg", "tare_mg", "net_mg", "container", "custodian"})
      if (file.has(key))
        throw BadInput(
            std::string(key) +
            " is given, but the core was aborted: leave it out, or set \"outcome\" to \"taken\"");
    return taken;
  }
  if (file.has("reason"))
    throw BadInput(
        "reason is given, but the core was taken: put it into \"note\", or set \"outcome\" to "
        "\"aborted\"");
  taken.sample = file.text("sample");
  read_masses(file, taken);
  taken.container = file.text("container");
  taken.custodian = file.text("custodian");
  return taken;
}

json to_json(const Taken& t) {
  json persons = json::array();
  for (const Person& p : t.persons) persons.push_back({{"name", p.name}, {"role", p.role}});
  json j{
      {"outcome", t.aborted ? "aborted" : "taken"}, {"taken_at", t.taken_at}, {"persons", persons}};
  if (t.entry_lps_mm) j["entry_lps_mm"] = from_vec(*t.entry_lps_mm);
  if (t.tip_lps_mm) j["tip_lps_mm"] = from_vec(*t.tip_lps_mm);
  if (t.needle) j["needle"] = to_json(*t.needle);
  if (!t.note.empty()) j["note"] = t.note;
  if (!t.frame_of_reference_uid.empty()) j["frame_of_reference_uid"] = t.frame_of_reference_uid;
  if (t.aborted) {
    j["reason"] = t.reason;
  } else {
    j.update({{"sample", t.sample},
              {"gross_mg", t.gross_mg},
              {"tare_mg", t.tare_mg},
              {"net_mg", t.net_mg},
              {"container", t.container},
              {"custodian", t.custodian}});
  }
  return j;
}

}  // namespace leastharm
