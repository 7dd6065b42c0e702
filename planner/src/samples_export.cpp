// Samples for other programs: a table, and linked data in the terms of CIDOC CRM (ISO 21127) and
// CRMsci.
#include <cctype>
#include <cmath>

#include "planner/records.h"
#include "planner/text.h"

namespace leastharm {
namespace {

using nlohmann::json;

double tidy_mg(double mg) { return std::round(mg * 1e4) / 1e4; }

std::string quoted(const std::string& text) {
  std::string inside = text;
  for (std::size_t at = 0; (at = inside.find('"', at)) != std::string::npos; at += 2)
    inside.insert(at, 1, '"');
  return '"' + inside + '"';
}

std::string persons_of(const Taken& taken) {
  std::string text;
  for (const Person& p : taken.persons)
    text += (text.empty() ? "" : "; ") + p.name + " (" + p.role + ")";
  return text;
}

std::string position_cells(const std::optional<Vec3>& at) {
  if (!at) return ",,";
  return fixed(at->x(), 2) + "," + fixed(at->y(), 2) + "," + fixed(at->z(), 2);
}

/// A part of an IRI: letters, digits and hyphens as they are, everything else by its code.
std::string iri_part(const std::string& text) {
  static constexpr const char* kHex = "0123456789ABCDEF";
  std::string out;
  for (const unsigned char c : text) {
    if (std::isalnum(c) != 0 || c == '-')
      out += static_cast<char>(c);
    else
      out += std::string("%") + kHex[c >> 4] + kHex[c & 15];
  }
  return out;
}

json type_named(const std::string& name) { return {{"@type", "crm:E55_Type"}, {"label", name}}; }

json person_node(const std::string& name) {
  return {{"@id", "urn:leastharm:person:" + iri_part(name)},
          {"@type", "crm:E21_Person"},
          {"label", name}};
}

json mass_node(const std::string& what, double mg) {
  return {{"@type", "crm:E54_Dimension"},
          {"crm:P2_has_type", type_named(what)},
          {"crm:P90_has_value", {{"@type", "xsd:decimal"}, {"@value", brief(tidy_mg(mg))}}},
          {"crm:P91_has_unit",
           {{"@id", "http://qudt.org/vocab/unit/MilliGM"},
            {"@type", "crm:E58_Measurement_Unit"},
            {"label", "mg"}}}};
}

json time_node(const std::string& at) {
  const json instant{{"@type", "xsd:dateTime"}, {"@value", at}};
  return {{"@type", "crm:E52_Time-Span"},
          {"crm:P82a_begin_of_the_begin", instant},
          {"crm:P82b_end_of_the_end", instant}};
}

json place_node(const char* what, const Vec3& p, const std::string& frame) {
  return {{"@type", "crm:E53_Place"},
          {"crm:P2_has_type", type_named(what)},
          {"crm:P168_place_is_defined_by",
           {{"@type", "crm:E94_Space_Primitive"},
            {"crm:P3_has_note", "DICOM patient coordinates, mm: " + fixed(p.x(), 2) + " " +
                                    fixed(p.y(), 2) + " " + fixed(p.z(), 2) +
                                    (frame.empty() ? "" : ", frame of reference " + frame)}}}};
}

json use_node(const Core& core, const Use& use, const std::string& sample_id) {
  return {{"@id", "urn:leastharm:record:" + std::to_string(use.record) + ":" +
                      iri_part(core.taken.sample)},
          {"@type", json::array({"crmsci:S1_Matter_Removal", "crm:E7_Activity"})},
          {"label", use.purpose},
          {"crmsci:O1_diminished", {{"@id", sample_id}}},
          {"crmsci:O2_removed",
           {{"@type", "crmsci:S11_Amount_of_Matter"},
            {"crm:P43_has_dimension", mass_node("used mass", use.mg)}}},
          {"crm:P14_carried_out_by", person_node(use.by)},
          {"crm:P4_has_time-span", time_node(use.at)}};
}

json sample_node(const Core& core, const std::string& sample_id) {
  const Taken& t = core.taken;
  return {{"@id", sample_id},
          {"@type", "crmsci:S13_Sample"},
          {"label", t.sample},
          {"crm:P1_is_identified_by",
           {{"@type", "crm:E42_Identifier"}, {"crm:P190_has_symbolic_content", t.sample}}},
          {"crm:P43_has_dimension",
           json::array({mass_node("gross mass", t.gross_mg), mass_node("tare mass", t.tare_mg),
                        mass_node("net mass", t.net_mg), mass_node("mass left", core.left_mg())})},
          {"crm:P50_has_current_keeper",
           {{"@id", "urn:leastharm:actor:" + iri_part(t.custodian)},
            {"@type", "crm:E39_Actor"},
            {"label", t.custodian}}},
          {"crm:P54_has_current_permanent_location",
           {{"@type", "crm:E53_Place"}, {"label", t.container}}}};
}

json taking_node(const Core& core, const std::string& object_iri) {
  const Taken& t = core.taken;
  json node{
      {"@id", "urn:leastharm:record:" + std::to_string(core.record) + ":" + iri_part(core.track)},
      {"@type", "crmsci:S2_Sample_Taking"},
      {"label",
       "Track " + core.track + (t.aborted ? ", aborted: " + t.reason : ", sample " + t.sample)},
      {"crmsci:O3_sampled_from", {{"@id", object_iri}}},
      {"crm:P33_used_specific_technique",
       {{"@type", "crm:E29_Design_or_Procedure"},
        {"label", "sampling plan " + core.plan + ", track " + core.track}}},
      {"crm:P4_has_time-span", time_node(t.taken_at)},
      {"crm:P14_carried_out_by", json::array()}};
  for (const Person& p : t.persons) node["crm:P14_carried_out_by"].push_back(person_node(p.name));
  if (t.aborted) node["@type"] = "crm:E7_Activity";  // nothing was taken
  if (t.aborted)
    node.erase("crmsci:O3_sampled_from"),
        node["crm:P16_used_specific_object"] = {{"@id", object_iri}};
  if (t.tip_lps_mm)
    node["crmsci:O4_sampled_at"] =
        json::array({place_node("entry", *t.entry_lps_mm, t.frame_of_reference_uid),
                     place_node("tip", *t.tip_lps_mm, t.frame_of_reference_uid)});
  return node;
}

}  // namespace

std::string samples_csv(const std::vector<Core>& cores, const std::string& object_id) {
  std::string csv =
      "object,track,plan,outcome,reason,sample,gross_mg,tare_mg,net_mg,used_mg,left_mg,container,"
      "custodian,taken_at,persons,"
      "entry_x_lps_mm,entry_y_lps_mm,entry_z_lps_mm,tip_x_lps_mm,tip_y_lps_mm,tip_z_lps_mm,tip_off_"
      "plan_mm,angle_off_plan_deg,"
      "corrections,note\n";
  for (const Core& c : cores) {
    const Taken& t = c.taken;
    const auto mass = [&](double mg) { return t.aborted ? std::string() : brief(tidy_mg(mg)); };
    const auto off = [&](const char* key) {
      return c.held_against_plan.is_null() ? std::string() : fixed(c.held_against_plan.at(key), 2);
    };
    csv += quoted(object_id) + "," + quoted(c.track) + "," + quoted(c.plan) + "," +
           (t.aborted ? "aborted" : "taken") + "," + quoted(t.reason) + "," + quoted(t.sample) +
           "," + mass(t.gross_mg) + "," + mass(t.tare_mg) + "," + mass(t.net_mg) + "," +
           mass(c.used_mg()) + "," + mass(c.left_mg()) + "," + quoted(t.container) + "," +
           quoted(t.custodian) + "," + t.taken_at + "," + quoted(persons_of(t)) + "," +
           position_cells(t.entry_lps_mm) + "," + position_cells(t.tip_lps_mm) + "," +
           off("tip_mm") + "," + off("angle_deg") + "," + std::to_string(c.corrections) + "," +
           quoted(t.note) + "\n";
  }
  return csv;
}

json samples_json_ld(const std::vector<Core>& cores, const std::string& object_id) {
  const std::string object_iri = "urn:leastharm:object:" + iri_part(object_id);
  json graph = json::array(
      {{{"@id", object_iri},
        {"@type", "crm:E22_Human-Made_Object"},
        {"label", object_id},
        {"crm:P1_is_identified_by",
         {{"@type", "crm:E42_Identifier"}, {"crm:P190_has_symbolic_content", object_id}}}}});
  for (const Core& core : cores) {
    json taking = taking_node(core, object_iri);
    if (!core.taken.aborted) {
      const std::string sample_iri = object_iri + ":sample:" + iri_part(core.taken.sample);
      taking["crmsci:O5_removed"] = {{"@id", sample_iri}};
      graph.push_back(sample_node(core, sample_iri));
      for (const Use& use : core.uses) graph.push_back(use_node(core, use, sample_iri));
    }
    graph.push_back(std::move(taking));
  }
  return {{"@context",
           {{"crm", "http://www.cidoc-crm.org/cidoc-crm/"},
            {"crmsci", "http://www.cidoc-crm.org/extensions/crmsci/"},
            {"xsd", "http://www.w3.org/2001/XMLSchema#"},
            {"label", "http://www.w3.org/2000/01/rdf-schema#label"}}},
          {"@graph", graph}};
}

}  // namespace leastharm
