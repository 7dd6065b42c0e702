// Files that people, editors and broken programs damaged: each is taken and then sound, or refused in words that name the file.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <ctime>

#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "planner/case.h"
#include "planner/json_file.h"
#include "planner/transfer.h"
#include "support/damage.h"
#include "support/file_bytes.h"
#include "support/taken_core.h"
#include "support/test_volumes.h"

namespace leastharm::test {
namespace {

using nlohmann::json;
using testing::HasSubstr;

constexpr int kTrials = 1500;
constexpr double kMost_s = 2;   // of processor time for one file

/// Reads a file and says what it took from it.
using Parse = std::function<json(const std::filesystem::path&)>;

/// Nothing that is no number may have come in.
void expect_finite(const json& value) {
  if (value.is_number()) {
    EXPECT_TRUE(std::isfinite(value.get<double>()));
  } else if (value.is_structured())
    for (const json& child : value) expect_finite(child);
}

/// A new file each time: overwriting one makes some file systems wait for the disk.
void write_new(const std::filesystem::path& file, const std::string& bytes) {
  std::filesystem::remove(file);
  write_bytes(file, bytes);
}

struct Outcome {
  bool taken = false;
  std::string said;
};

Outcome outcome_of(const std::filesystem::path& file, const std::string& text, const Parse& parse) {
  write_new(file, text);
  const std::clock_t start = std::clock();
  Outcome outcome;
  try {
    const json taken = parse(file);
    outcome.taken = true;
    expect_finite(taken);
    write_new(file, taken.dump());
    EXPECT_EQ(parse(file), taken);   // sound: what was taken reads back the same
  } catch (const BadInput& fault) {   // anything else fails the test
    outcome.said = fault.what();
  }
  EXPECT_LT(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC, kMost_s);
  return outcome;
}

/// What was damaged is taken or refused, and the refusal names the file, and the key where only one was changed.
void expect_sound(const std::filesystem::path& file, const json& good, const Parse& parse, std::uint32_t seed) {
  ASSERT_TRUE(outcome_of(file, good.dump(1), parse).taken) << outcome_of(file, good.dump(1), parse).said;
  Damage damage(seed);
  int refused = 0;
  for (int n = 0; n < kTrials; ++n) {
    std::string changed;
    const std::string text = n % 3 == 0 ? damage.in_bytes(good.dump(1)) : damage.in_keys(good, changed);
    const Outcome outcome = outcome_of(file, text, parse);
    if (outcome.taken) continue;
    ++refused;
    ASSERT_LT(outcome.said.size(), 1200u) << outcome.said.substr(0, 1200);
    EXPECT_THAT(outcome.said, HasSubstr(file.filename().string())) << "trial " << n;
    if (changed.empty()) continue;
    // Where it is no JSON at all the line is told; two masses that do not fit each other name both.
    const std::string first = changed.substr(1, changed.find('/', 1) - 1);
    const std::array<std::string, 5> told{first, "line ", "nests deeper", "too large to read", "weigh again"};
    EXPECT_TRUE(std::ranges::any_of(told, [&](const std::string& t) { return outcome.said.find(t) != std::string::npos; }))
        << "trial " << n << ", changed " << changed << ": " << outcome.said.substr(0, 1200);
  }
  EXPECT_GT(refused, kTrials / 3);   // else nothing was damaged
}

json usual_request() {
  return json::parse(R"({"requests":[{"id":"P","from":{"cavity":"chest","material":"packing","filling":"sand"},
    "assays":[{"name":"light microscopy","uses_mg":0},{"name":"GC-MS","uses_mg":20}],"retain_mg":5,"pooled":false,"replicates":5,
    "spacing_mm":15,"sides":"both","largest_particle_mm":2.5}],
    "needles":["end-cut 11G 20 mm",{"outer_mm":3,"bore_mm":2.4,"throw_mm":20,"usable_mm":150,"kind":"side-notch","dead_tip_mm":6,"recovery":[0.3,0.4]}],
    "weights":{"body":1,"bone":4,"hole_mm":2,"protected_per_mm3":50},
    "limits":{"entry_angle_deg":45,"clearance_mm":5,"tilt_deg":30,"margin_mm":0,"bone_mm":0,"hole_spacing_mm":20,"p_enough_min":0.9,"p_touch_max":0.01},
    "placement":{"placement_mm":3,"depth_mm":2,"shared_mm":1},"dossier":{"owner":"an invented museum"},"gap":0.05,"time_s":60})");
}

json usual_tracks() {
  return json::parse(R"({"tracks":[{"id":"T1","entry_lps_mm":[1,2,3],"tip_lps_mm":[4,5,60],"needle":{"outer_mm":3,"bore_mm":2.4,"throw_mm":20,
    "usable_mm":150,"recovery":[0.6,0.9]},"request":"P"},{"id":"T2","entry_lps_mm":[9,2,3],"tip_lps_mm":[9,5,60],"needle":"end-cut 11G 20 mm"}]})");
}

TEST(BrokenFiles, RequestsAreTakenOrRefusedInWords) {
  const ScratchFolder folder;
  expect_sound(folder / "request.json", usual_request(), [](const auto& path) { return to_json(read_request_file(path)); }, 1);
}

TEST(BrokenFiles, TracksAreTakenOrRefusedInWords) {
  const ScratchFolder folder;
  expect_sound(folder / "tracks.json", usual_tracks(), [](const auto& path) {
    json list = json::array();
    for (const Track& track : parse_json_file(path, [](const json& j) { return parse_tracks(j, ""); })) list.push_back(to_json(track));
    return json{{"tracks", list}};
  }, 2);
}

TEST(BrokenFiles, RecordsOfCoresAreTakenOrRefusedInWords) {
  const ScratchFolder folder;
  json good = taken("S1", 12.5);
  good.update({{"entry_lps_mm", {1, 2, 3}}, {"tip_lps_mm", {4, 5, 60}}, {"needle", "end-cut 11G 20 mm"}, {"note", "dry"}});
  expect_sound(folder / "taken.json", good, [](const auto& path) { return to_json(parse_json_file(path, parse_taken)); }, 3);
}

TEST(BrokenFiles, FiducialsAreTakenOrRefusedInWords) {
  const ScratchFolder folder;
  const json good = json::parse(R"({"fiducials":[{"name":"A","planning_lps_mm":[1,2,3],"day_lps_mm":[2,3,4]},
    {"name":"B","planning_lps_mm":[11,2,3],"day_lps_mm":[12,3,4]},{"name":"C","planning_lps_mm":[1,22,3],"day_lps_mm":[2,23,4]}]})");
  expect_sound(folder / "fiducials.json", good, [](const auto& path) {
    json list = json::array();
    const auto from = [](const Vec3& v) { return json{v.x(), v.y(), v.z()}; };
    for (const FiducialPair& f : parse_json_file(path, [](const json& j) { return parse_fiducials(j, "", ""); }))
      list.push_back({{"name", f.name}, {"planning_lps_mm", from(f.planning_lps_mm)}, {"day_lps_mm", from(f.day_lps_mm)}});
    return json{{"fiducials", list}};
  }, 4);
}

/// A case with something of everything that case.json can hold.
json usual_case() {
  CaseFile file;
  file.object_id = "INVENTED";
  file.ct = {.path = "../ct", .series_uid = "1.2", .sha256 = "ab", .facts = {{"kVp", "120"}}, .grid = oblique_grid(),
             .findings = {{Level::mended, "slices sorted"}}};
  file.proposed_frame = make_body_frame({0, 0, 1}, {0, -1, 0});
  file.proposed_frame.midline_lps_mm = {{0, 0, 0}, {0, 0, 9}};
  file.frame = file.proposed_frame;
  file.frame_by = "N. N.";
  file.marks = {{.name = "chest", .kind = MarkKind::cavity, .made_by = {{"material", "packing"}}, .file = "marks/a.nrrd", .sha256 = "cd", .volume_mm3 = 5}};
  file.waivers = {{"dense-1", "ef", "N. N.", "a bead", "2026-01-01T00:00:00Z"}};
  file.request = parse_request_file(usual_request());
  file.plan.tracks = parse_tracks(usual_tracks(), "");
  file.plan.certificate = Certificate{10, 0.2, "all tracks", "branch and bound"};
  file.plan.stopped = "gap";
  file.plan.firmness = Firmness{93, {"bone doubled"}, 4};
  file.alternatives = {{"A1", "yield", "T1", {file.plan.tracks[0]}}};
  file.prices = {{LesserChoice::half_the_mass, true, {file.plan.tracks[0]}}};
  file.approvals = {{.role = "conservator", .by = "N. N.", .at = "2026-01-01T00:00:00Z", .decision = "approved", .parts = {{"CT", "ab"}}}};
  append_record(file.records, "transfer", {{"file", "transfers/1.json"}}, "2026-01-01T00:00:00Z");
  file.printouts = {{"printouts/plan.pdf", "12", "34"}};
  return to_json(file);
}

TEST(BrokenFiles, CasesAreTakenOrRefusedInWordsAndLeftAlone) {
  const ScratchFolder folder;
  const auto root = folder / "case";
  std::filesystem::create_directory(root);
  expect_sound(root / "case.json", usual_case(), [&](const auto&) { return to_json(CaseFolder::open(root).file); }, 5);
}

/// Masks are bytes; the voxels that are taken lie on the grid that was asked for.
TEST(BrokenFiles, MasksAreTakenOrRefusedInWords) {
  const ScratchFolder folder;
  const Grid grid = oblique_grid();
  Volume<std::uint8_t> labels{grid, std::vector<std::uint8_t>(grid.voxel_count(), 0)};
  for (std::size_t n = 900; n < 1600; ++n) labels.values[n] = 1;
  for (const char* name : {"mask.nrrd", "mask.nii"}) {
    write_labels(labels, folder / name);
    const std::string good = read_bytes(folder / name);
    Damage damage(6);
    int refused = 0;
    for (int n = 0; n < kTrials / 2; ++n) {
      // Most of a file is voxels; what is read first is what matters.
      const std::size_t header = std::min<std::size_t>(good.size(), 400);
      write_new(folder / name, n % 2 == 0 ? damage.in_bytes(good) : damage.in_bytes(good.substr(0, header)) + good.substr(header));
      try {
        const Mask mask = read_mask(folder / name, grid);
        EXPECT_EQ(mask.grid.size, grid.size);
        EXPECT_LE(mask.voxel_count(), grid.voxel_count());
      } catch (const BadInput& fault) {
        ++refused;
        EXPECT_THAT(std::string(fault.what()), HasSubstr(name)) << n;
        EXPECT_LT(std::string(fault.what()).size(), 1200u);
      }
    }
    EXPECT_GT(refused, kTrials / 10) << name;
  }
}

}  // namespace
}  // namespace leastharm::test
