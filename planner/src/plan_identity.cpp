// What an approval binds: a hash of every part of the plan.
#include "imaging/hash.h"
#include "planner/case.h"

namespace leastharm {
namespace {

using nlohmann::json;

json marks_identity(const CaseFile& file) {
  json marks = json::object();   // by name: the order in which marks were set does not matter
  for (const MarkRecord& m : file.marks)
    marks[m.name] = {{"as", name_of(m.kind)}, {"sha256", m.sha256}, {"weight_mm", m.weight_mm}};
  return marks;
}

json frame_identity(const CaseFile& file) {
  if (!file.frame) return nullptr;
  json frame{{"head", {file.frame->head.x(), file.frame->head.y(), file.frame->head.z()}},
             {"front", {file.frame->front.x(), file.frame->front.y(), file.frame->front.z()}},
             {"midline", json::array()},
             {"by", file.frame_by}};
  for (const Vec3& p : file.frame->midline_lps_mm) frame["midline"].push_back({p.x(), p.y(), p.z()});
  return frame;
}

json waivers_identity(const CaseFile& file) {
  json waivers = json::array();
  for (const Waiver& w : file.waivers)
    waivers.push_back({{"mark", w.mark}, {"sha256", w.mark_sha256}, {"by", w.by}, {"why", w.why}});
  return waivers;
}

json tracks_identity(const CaseFile& file) {
  json tracks = json::array();
  for (const Track& t : file.plan.tracks) tracks.push_back(to_json(t));
  return tracks;
}

std::string hash_of(const json& part) { return sha256_hex(std::string_view(part.dump())); }

}  // namespace

std::map<std::string, std::string> plan_parts(const CaseFile& file) {
  const json request = file.request ? to_json(*file.request) : json::object();
  const auto section = [&](const char* key) { return request.contains(key) ? request[key] : json(); };
  json asked = request;
  for (const char* key : {"weights", "needles", "limits"}) asked.erase(key);
  return {{"CT", file.ct.sha256},
          {"materials", hash_of({file.materials_sha256, file.confidence_sha256})},
          {"marks", hash_of(marks_identity(file))},
          {"frame", hash_of(frame_identity(file))},
          {"request", hash_of(asked)},
          {"weights", hash_of(section("weights"))},
          {"needles", hash_of(section("needles"))},
          {"limits", hash_of(section("limits"))},
          {"tracks", hash_of(tracks_identity(file))},
          {"waivers", hash_of(waivers_identity(file))}};
}

std::string plan_sha256(const CaseFile& file) {
  std::string all;
  for (const auto& [part, hash] : plan_parts(file)) all += part + " " + hash + "\n";
  return sha256_hex(std::string_view(all));
}

std::string plan_label(const CaseFile& file) {
  return std::string("v") + std::to_string(file.plan_version) + "-" + plan_sha256(file).substr(0, 8);
}

std::vector<std::string> changed_since(const Approval& approval, const CaseFile& file) {
  std::vector<std::string> changed;
  for (const auto& [part, hash] : plan_parts(file)) {
    const auto bound = approval.parts.find(part);
    if (bound == approval.parts.end() || bound->second != hash) changed.push_back(part);
  }
  return changed;
}

}  // namespace leastharm
