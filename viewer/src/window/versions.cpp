#include "window/versions.h"

#include <algorithm>
#include <fstream>
#include <set>

#include "planner/cylinder.h"
#include "window/screen_words.h"
#include "words.h"

namespace leastharm {

namespace fs = std::filesystem;

namespace {

std::string needle_words(const Needle& n) {
  return n.name.empty() ? say("change.needle", number(n.outer_mm, 1), number(n.bore_mm, 1),
                              number(n.throw_mm, 0))
                        : n.name;
}

void compare_tracks(const CaseFile& before, const CaseFile& now, std::vector<std::string>& lines) {
  for (const Track& t : now.plan.tracks) {
    const auto former = std::ranges::find(before.plan.tracks, t.id, &Track::id);
    if (former == before.plan.tracks.end()) {
      lines.push_back(say("change.newtrack", t.id));
      continue;
    }
    const double entry = (t.entry_lps_mm - former->entry_lps_mm).norm(),
                 tip = (t.tip_lps_mm - former->tip_lps_mm).norm();
    if (entry > 0.005 || tip > 0.005)
      lines.push_back(say("change.moved", t.id, mm(entry), mm(tip)));
    if (to_json(t.needle) != to_json(former->needle))
      lines.push_back(
          say("change.otherneedle", t.id, needle_words(former->needle), needle_words(t.needle)));
    if (t.request != former->request)
      lines.push_back(say("change.otherrequest", t.id, former->request, t.request));
  }
  for (const Track& t : before.plan.tracks)
    if (std::ranges::find(now.plan.tracks, t.id, &Track::id) == now.plan.tracks.end())
      lines.push_back(say("change.gonetrack", t.id));
}

void compare_marks(const CaseFile& before, const CaseFile& now, std::vector<std::string>& lines) {
  for (const MarkRecord& m : now.marks) {
    const auto former = std::ranges::find(before.marks, m.name, &MarkRecord::name);
    if (former == before.marks.end())
      lines.push_back(say("change.newmark", m.name, std::string(name_of(m.kind))));
    else if (former->sha256 != m.sha256)
      lines.push_back(say("change.othermark", m.name, number(former->volume_mm3 / 1000, 1),
                          number(m.volume_mm3 / 1000, 1)));
    else if (former->kind != m.kind)
      lines.push_back(say("change.kind", m.name, std::string(name_of(former->kind)),
                          std::string(name_of(m.kind))));
    else if (former->weight_mm != m.weight_mm)
      lines.push_back(say("change.weight", m.name, mm(former->weight_mm), mm(m.weight_mm)));
  }
  for (const MarkRecord& m : before.marks)
    if (std::ranges::find(now.marks, m.name, &MarkRecord::name) == now.marks.end())
      lines.push_back(say("change.gonemark", m.name));
}

/// Every value that differs, by its path: "limits/clearance_mm: 5 → 4".
void compare_json(const nlohmann::json& before, const nlohmann::json& now,
                  std::vector<std::string>& lines) {
  const auto flat = [](const nlohmann::json& j) {
    return j.empty() ? nlohmann::json::object() : j.flatten();
  };
  const nlohmann::json a = flat(before), b = flat(now);
  std::set<std::string> keys;
  for (const auto& [key, value] : a.items()) keys.insert(key);
  for (const auto& [key, value] : b.items()) keys.insert(key);
  const auto text = [](const nlohmann::json& j, const std::string& key) {
    if (!j.contains(key)) return std::string("–");
    return j[key].is_string() ? j[key].get<std::string>() : j[key].dump();
  };
  for (const std::string& key : keys)
    if (text(a, key) != text(b, key))
      lines.push_back(say("change.value", key.substr(1), text(a, key), text(b, key)));
}

}  // namespace

std::vector<PlanVersion> former_versions(const fs::path& root, const CaseFile& now,
                                         std::size_t most) {
  std::vector<fs::path> states;
  std::error_code none;
  for (const auto& entry : fs::directory_iterator(root / "history", none))
    if (entry.path().extension() == ".json") states.push_back(entry.path());
  std::ranges::sort(states, std::greater{});
  std::vector<PlanVersion> versions;
  std::set<std::string> seen{plan_sha256(now)};
  for (const fs::path& state : states) {
    if (versions.size() == most) break;
    try {
      std::ifstream stream(state, std::ios::binary);
      CaseFile file = parse_case_file(nlohmann::json::parse(stream));
      if (file.plan.tracks.empty() || !seen.insert(plan_sha256(file)).second) continue;
      versions.push_back({plan_label(file), std::move(file)});
    } catch (const std::exception&) {  // damaged: it says nothing
    }
  }
  return versions;
}

std::vector<std::string> plan_changes(const CaseFile& before, const CaseFile& now) {
  std::vector<std::string> lines;
  const auto a = plan_parts(before), b = plan_parts(now);
  const auto differs = [&](const std::string& part) { return a.at(part) != b.at(part); };
  if (differs("CT")) lines.push_back(say("change.ct"));
  compare_tracks(before, now, lines);
  if (differs("marks")) compare_marks(before, now, lines);
  if (differs("materials")) lines.push_back(say("change.materials"));
  if (differs("frame"))
    lines.push_back(
        say("change.frame", before.frame ? before.frame_by : "–", now.frame ? now.frame_by : "–"));
  if (differs("waivers")) {
    for (const Waiver& w : now.waivers) lines.push_back(say("change.waiver", w.mark, w.by, w.why));
    if (now.waivers.empty()) lines.push_back(say("change.nowaiver"));
  }
  if (differs("request") || differs("weights") || differs("needles") || differs("limits"))
    compare_json(before.request ? to_json(*before.request) : nlohmann::json::object(),
                 now.request ? to_json(*now.request) : nlohmann::json::object(), lines);
  return lines;
}

}  // namespace leastharm
