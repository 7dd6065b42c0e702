// Transfers as files: transfers/transfer-000001.json and so on.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/whole_file.h"
#include "json_reader.h"
#include "planner/transfer.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

constexpr int kTransferSchema = 1;

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

Vec3 to_vec(const json& j) {
  if (!j.is_array() || j.size() != 3) throw BadInput("a point or vector needs three numbers");
  return {j[0].get<double>(), j[1].get<double>(), j[2].get<double>()};
}

json from_distances(const FitDistances& d) {
  if (d.places == 0) return nullptr;
  return {{"places", d.places}, {"mean_mm", d.mean_mm}, {"p95_mm", d.p95_mm}};
}

FitDistances to_distances(const json& j) {
  if (j.is_null()) return {};
  return {j.at("places"), j.at("mean_mm"), j.at("p95_mm")};
}

Registration to_registration(const json& j) {
  Registration r;
  for (int n = 0; n < 9; ++n)
    r.day_from_planning.rotation(n / 3, n % 3) = j.at("rotation").at(static_cast<std::size_t>(n));
  r.day_from_planning.translation_mm = to_vec(j.at("translation_mm"));
  r.method = j.at("method");
  r.correlation = j.at("correlation");
  r.changed = j.at("changed_fraction");
  r.covered = j.at("covered_fraction");
  r.surface = to_distances(j.at("surface"));
  r.bone = to_distances(j.at("bone"));
  r.fiducial_residual_mm = j.at("fiducial_residual_mm");
  r.inner_shift_mm = j.at("inner_shift_mm");
  r.inner_shift_where = j.at("inner_shift_where");
  for (const json& tip : j.at("tips")) r.target_error_p95_mm.push_back(tip.at("error_p95_mm"));
  return r;
}

/// One more than the highest number in the folder.
int next_number(const fs::path& folder) {
  int next = 1;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().filename().string();
    if (name.starts_with("transfer-"))
      next = std::max(next, std::atoi(name.c_str() + std::string("transfer-").size()) + 1);
  }
  return next;
}

std::string read_bytes(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream text;
  text << stream.rdbuf();
  return stream ? text.str() : "";
}

/// What is wrong with a recorded transfer's file; empty where nothing is.
std::string fault_of(const CaseFolder& folder, const Record& record) {
  const std::string file = record.what.at("file");
  const std::string bytes = read_bytes(folder.root() / file);
  if (bytes.empty()) return file + " is gone: make the transfer again with  leastharm transfer";
  if (sha256_hex(std::string_view(bytes)) != record.what.at("sha256").get<std::string>())
    return file +
           " was changed outside the program: make the transfer again with  leastharm transfer";
  return "";
}

}  // namespace

json to_json(const Registration& r, const std::vector<Track>& tracks) {
  json rotation = json::array(), tips = json::array();
  for (int n = 0; n < 9; ++n) rotation.push_back(r.day_from_planning.rotation(n / 3, n % 3));
  for (std::size_t n = 0; n < r.target_error_p95_mm.size() && n < tracks.size(); ++n)
    tips.push_back({{"track", tracks[n].id}, {"error_p95_mm", r.target_error_p95_mm[n]}});
  return {{"method", r.method},
          {"rotation", rotation},
          {"translation_mm", from_vec(r.day_from_planning.translation_mm)},
          {"rotation_deg", rotation_angle_deg(r.day_from_planning)},
          {"correlation", r.correlation},
          {"changed_fraction", r.changed},
          {"covered_fraction", r.covered},
          {"surface", from_distances(r.surface)},
          {"bone", from_distances(r.bone)},
          {"fiducial_residual_mm", r.fiducial_residual_mm},
          {"inner_shift_mm", r.inner_shift_mm},
          {"inner_shift_where", r.inner_shift_where},
          {"tips", tips}};
}

json to_json(const Transfer& t) {
  json tracks = json::array();
  for (const Track& track : t.tracks) tracks.push_back(to_json(track));
  return {{"schema", kTransferSchema},
          {"number", t.number},
          {"at", t.at},
          {"plan_sha256", t.plan_sha256},
          {"plan", t.plan},
          {"day_ct", to_json(t.day_ct)},
          {"same_ct", t.same_ct},
          {"registration", to_json(t.registration, t.tracks)},
          {"contents", to_json(t.contents)},
          {"limits", {{"error_mm", t.limits.error_mm}, {"inner_mm", t.limits.inner_mm}}},
          {"tracks", tracks},
          {"assessment", t.assessment},
          {"card", to_json(t.card)}};
}

Transfer parse_transfer(const json& j) {
  if (const int schema = j.at("schema"); schema > kTransferSchema)
    throw BadInput("this transfer has schema " + std::to_string(schema) +
                   ": use a newer version of leastharm");
  Transfer t;
  t.number = j.at("number");
  t.at = j.at("at");
  t.plan_sha256 = j.at("plan_sha256");
  t.plan = j.at("plan");
  t.day_ct = parse_ct_reference(j.at("day_ct"), "day_ct");
  t.same_ct = j.at("same_ct");
  t.registration = to_registration(j.at("registration"));
  for (const json& c : j.at("contents"))
    t.contents.push_back({c.at("cavity"), c.at("places"), c.at("changed_fraction"), c.at("planned_hu"), c.at("day_hu")});
  t.limits = {j.at("limits").at("error_mm"), j.at("limits").at("inner_mm")};
  t.tracks = parse_tracks({{"tracks", j.at("tracks")}}, "");
  t.assessment = j.at("assessment");
  t.card = parse_day_card(j.at("card"));
  return t;
}

std::vector<FiducialPair> parse_fiducials(const json& value, const std::string& planning_uid,
                                          const std::string& day_uid) {
  const JsonObject file(
      value, "", {"fiducials", "planning_frame_of_reference_uid", "day_frame_of_reference_uid"});
  const auto check_uid = [&](const char* key, const std::string& uid, const char* which) {
    if (file.has(key) && file.text(key) != uid)
      throw BadInput(std::string(key) + " is not that of the " + which +
                     " CT: the fiducials were set on another scan");
  };
  check_uid("planning_frame_of_reference_uid", planning_uid, "planning");
  check_uid("day_frame_of_reference_uid", day_uid, "day's");
  std::vector<FiducialPair> pairs;
  for (const json& item : file.list("fiducials")) {
    const std::string path = "fiducials[" + std::to_string(pairs.size()) + "]";
    const JsonObject f(item, path, {"name", "planning_lps_mm", "day_lps_mm"});
    const auto point = [&](const char* key) {
      const json& p = f.at(key);
      if (!p.is_array() || p.size() != 3)
        throw BadInput(f.path_of(key) + " must be three numbers [x, y, z], LPS in mm");
      Vec3 at;
      for (std::size_t a = 0; a < 3; ++a)
        at[static_cast<Eigen::Index>(a)] = read_number(p[a], f.path_of(key), {-1e5, 1e5});
      return at;
    };
    pairs.push_back({f.text_or("name", std::string("F") + std::to_string(pairs.size() + 1)),
                     point("planning_lps_mm"), point("day_lps_mm")});
  }
  return pairs;
}

void keep_transfer(CaseFolder& folder, Transfer& transfer) {
  const fs::path transfers = folder.root() / "transfers";
  fs::create_directories(transfers);
  const auto recorded = std::ranges::count(folder.file.records, "transfer", &Record::kind);
  transfer.number = std::max(next_number(transfers), static_cast<int>(recorded) + 1);   // a lost file's number stays its own
  std::string number = std::to_string(transfer.number);
  number.insert(0, 6 - std::min<std::size_t>(6, number.size()), '0');
  const std::string file = "transfers/transfer-" + number + ".json",
                    bytes = to_json(transfer).dump(1) + "\n";
  write_whole(folder.root() / file, bytes);
  append_record(folder.file.records, "transfer",
                {{"file", file},
                 {"sha256", sha256_hex(std::string_view(bytes))},
                 {"plan", transfer.plan},
                 {"plan_sha256", transfer.plan_sha256},
                 {"day_ct_sha256", transfer.day_ct.sha256}},
                transfer.at);
}

std::optional<Transfer> standing_transfer(const CaseFolder& folder) {
  const std::string plan = plan_sha256(folder.file);
  const auto& records = folder.file.records;
  const auto last = std::find_if(records.rbegin(), records.rend(), [&](const Record& r) {
    return r.kind == "transfer" && r.what.at("plan_sha256") == plan;
  });
  if (last == records.rend()) return std::nullopt;
  if (const std::string fault = fault_of(folder, *last); !fault.empty()) throw BadInput(fault);
  return parse_transfer(
      json::parse(read_bytes(folder.root() / last->what.at("file").get<std::string>())));
}

std::vector<std::string> transfer_faults(const CaseFolder& folder) {
  std::vector<std::string> faults;
  for (const Record& r : folder.file.records)
    if (r.kind == "transfer")
      if (const std::string fault = fault_of(folder, r); !fault.empty()) faults.push_back(fault);
  return faults;
}

}  // namespace leastharm
