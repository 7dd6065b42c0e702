// inspect and segment: from a path to a case with a material map.
#include <sys/resource.h>

#include <chrono>
#include <cmath>
#include <optional>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/intake.h"
#include "imaging/segmentation.h"
#include "imaging/volume_file.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

json to_json(const Series& s) {
  json direction = json::array();
  for (int n = 0; n < 9; ++n) direction.push_back(s.grid.direction(n / 3, n % 3));
  return {{"uid", s.uid},
          {"modality", s.modality},
          {"slices", s.slices},
          {"size", s.grid.size},
          {"spacing_mm", {s.grid.spacing_mm.x(), s.grid.spacing_mm.y(), s.grid.spacing_mm.z()}},
          {"origin_lps_mm", {s.grid.origin_lps_mm.x(), s.grid.origin_lps_mm.y(), s.grid.origin_lps_mm.z()}},
          {"direction", direction},
          {"tilt_deg", s.tilt_deg},
          {"usable", s.usable},
          {"findings", leastharm::to_json(s.findings)}};
}

void print_series(std::ostream& out, const Series& s) {
  const auto& g = s.grid;
  out << s.modality << "  " << s.uid << (s.usable ? "" : "  (not usable)") << "\n  " << s.slices << " slices, "
      << g.size[0] << " x " << g.size[1] << " x " << g.size[2] << " voxels of " << fixed(g.spacing_mm.x(), 3) << " x "
      << fixed(g.spacing_mm.y(), 3) << " x " << fixed(g.spacing_mm.z(), 3) << " mm";
  if (s.tilt_deg > 0.05) out << ", scanned with a tilt of " << fixed(s.tilt_deg, 1) << " deg";
  out << "\n";
  print_findings(out, s.findings);
}

void inspect_path(const std::string& path, bool as_json, const Console& console) {
  const Inspection found = inspect(path);
  const bool usable = std::ranges::any_of(found.series, &Series::usable);
  if (as_json) {
    json list = json::array();
    for (const Series& s : found.series) list.push_back(to_json(s));
    console.out << json{{"series", list},
                        {"non_image_files", found.non_image_files},
                        {"findings", to_json(found.findings)}}
                       .dump(1)
                << "\n";
  } else {
    for (const Series& s : found.series) print_series(console.out, s);
    if (found.non_image_files > 0)
      console.out << found.non_image_files << " files are no images and were passed over\n";
    print_findings(console.out, found.findings);
  }
  if (!usable)
    throw BadInput(path + " holds no CT series that can be used" +
                   (found.series.empty() ? ": point to a folder of CT slices, or to an NRRD, NIfTI or MetaImage file"
                                         : ": the findings of each series say why"));
}

struct SegmentOptions {
  std::string path, case_path, series, materials, object;
  bool allow_gaps = false, correct_air = false, as_json = false;
};

/// Lays what people corrected over a computed map.
void apply_corrections(const fs::path& file, const Volume<std::int16_t>& hu, Segmentation& map) {
  if (!fs::exists(file)) return;
  const Volume<std::uint8_t> corrections = read_labels(file);
  if (!same_grid(corrections.grid, map.materials.grid))
    throw BadInput(file.string() + " lies on another grid than this CT: begin a new case");
  for (std::size_t n = 0; n < corrections.values.size(); ++n)
    if (corrections.values[n] != kNotCorrected) {
      map.materials.values[n] = corrections.values[n];
      map.confidence.values[n] = 255;
    }
  Segmentation corrected = describe_materials(hu, std::move(map.materials));
  map.materials = std::move(corrected.materials);
  map.volume_mm3 = corrected.volume_mm3;
  map.mean_hu = corrected.mean_hu;
}

/// Keeps apart which voxels a given map changed: all of them where there was no map before.
Volume<std::uint8_t> corrections_from(const CaseFolder& folder, const Volume<std::uint8_t>& given) {
  const fs::path file = folder.root() / "corrections.nrrd";
  if (folder.is_new()) return given;
  Volume<std::uint8_t> corrections =
      fs::exists(file) ? read_labels(file)
                       : Volume<std::uint8_t>{given.grid, std::vector<std::uint8_t>(given.values.size(), kNotCorrected)};
  const Volume<std::uint8_t> before = folder.read_materials();
  for (std::size_t n = 0; n < given.values.size(); ++n)
    if (given.values[n] != before.values[n]) corrections.values[n] = given.values[n];
  return corrections;
}

Volume<std::uint8_t> read_given_map(const std::string& path, const Grid& grid) {
  Volume<std::uint8_t> given = read_labels(path, grid);
  for (const std::uint8_t label : given.values)
    if (label >= kMaterialCount)
      throw BadInput(path + " holds the label " + std::to_string(label) + ": labels run from 0 (air) to 7 (support)");
  return given;
}

void take_ct(CaseFile& file, const CtVolume& ct, const SegmentOptions& options, const fs::path& root) {
  file.ct = {.path = fs::relative(fs::canonical(options.path), fs::canonical(root)).string(),
             .series_uid = ct.series_uid,
             .frame_of_reference_uid = ct.frame_of_reference_uid,
             .sha256 = ct.sha256,
             .facts = ct.facts,
             .grid = ct.hu.grid,
             .correct_air = options.correct_air,
             .findings = ct.findings};
}

void check_same_object(const CaseFolder& folder, const CtVolume& ct) {
  if (!folder.is_new() && ct.sha256 != folder.file.ct.sha256)
    throw BadInput("the case " + folder.root().string() +
                   " is about another CT: begin a new case for this one, so that marks and approvals stay true");
}

json segment_answer(const CtVolume& ct, const Segmentation& map, double seconds) {
  json labels, volume, mean;
  for (std::size_t m = 0; m < kMaterialCount; ++m) {
    const std::string name(kMaterialNames[m]);
    labels[name] = m;
    volume[name] = map.volume_mm3[m];
    mean[name] = map.mean_hu[m];
  }
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  std::vector<Finding> findings = ct.findings;
  findings.insert(findings.end(), map.findings.begin(), map.findings.end());
  return {{"series_uid", ct.series_uid}, {"labels", labels},
          {"volume_mm3", volume},        {"mean_hu", mean},
          {"air_check_hu", ct.air_hu},   {"noise_hu", map.noise_hu},   // no number (null) where there is no room air
          {"findings", to_json(findings)},
          {"seconds", seconds},          {"peak_rss_mb", static_cast<double>(usage.ru_maxrss) / 1024}};
}

void print_segment_answer(std::ostream& out, const json& answer, const std::string& case_path) {
  out << "material    volume, cm3   mean HU\n";
  for (const std::string_view name : kMaterialNames) {
    const std::string key(name);
    const std::string volume = fixed(answer["volume_mm3"][key].get<double>() / 1000, 1);
    const std::string mean = fixed(answer["mean_hu"][key].get<double>(), 0);
    out << key << std::string(10 - key.size(), ' ') << std::string(13 - volume.size(), ' ') << volume
        << std::string(10 - mean.size(), ' ') << mean << "\n";
  }
  const double air_hu = answer["air_check_hu"];
  out << (std::isnan(air_hu) ? "no room air was found" : "room air reads " + fixed(air_hu, 1) + " HU") << ", noise "
      << fixed(answer["noise_hu"], 1) << " HU\n";
  for (const json& f : answer["findings"])
    out << "  " << f["level"].get<std::string>() << ": " << f["what"].get<std::string>() << "\n";
  out << "written to " << case_path << " in " << fixed(answer["seconds"], 1) << " s\n";
}

void segment_path(const SegmentOptions& options, const Console& console) {
  const auto begun = std::chrono::steady_clock::now();
  const CtVolume ct = read_ct(
      options.path,
      {.series_uid = options.series, .allow_gaps = options.allow_gaps, .correct_air = options.correct_air});
  CaseFolder folder = CaseFolder::open_or_create(options.case_path);
  check_same_object(folder, ct);
  const fs::path corrections = folder.root() / "corrections.nrrd";
  Segmentation map;
  std::optional<Volume<std::uint8_t>> corrected;
  if (options.materials.empty()) {
    map = segment(ct.hu);
    apply_corrections(corrections, ct.hu, map);
  } else {
    map = describe_materials(ct.hu, read_given_map(options.materials, ct.hu.grid));
    corrected = corrections_from(folder, map.materials);
  }
  CaseFile& file = folder.file;
  take_ct(file, ct, options, folder.root());
  file.ct.air_check_hu = ct.air_hu;
  file.ct.noise_hu = map.noise_hu;
  file.volume_mm3 = map.volume_mm3;
  file.map_findings = map.findings;
  file.proposed_frame = map.proposed_frame;
  if (!options.object.empty()) file.object_id = options.object;
  if (file.object_id.empty()) file.object_id = fs::canonical(folder.root()).filename().string();
  folder.write_map(map.materials, map.confidence);
  for (const std::string& name : folder.protect_dense(map.materials))
    map.findings.push_back({Level::note, "the waiver of " + name + " fell away: that object is no longer in the map"});
  for (Approval& approval : file.approvals)
    if (approval.voided.empty()) approval.voided = "the CT was segmented again on " + time_now();
  if (corrected) write_labels(*corrected, corrections);
  folder.save();
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  const json answer = segment_answer(ct, map, seconds);
  if (options.as_json)
    console.out << answer.dump(1) << "\n";
  else
    print_segment_answer(console.out, answer, options.case_path);
}

}  // namespace

void add_intake_commands(CLI::App& program, const Console& console) {
  auto* inspect_command = program.add_subcommand("inspect", "Say what a folder or file holds, and whether it can be used");
  auto path = std::make_shared<std::string>();
  auto as_json = std::make_shared<bool>(false);
  inspect_command->add_option("PATH", *path, "Folder, DICOMDIR, or NRRD, NIfTI or MetaImage file")->required();
  inspect_command->add_flag("--json", *as_json, "Answer as JSON");
  inspect_command->callback([=] { inspect_path(*path, *as_json, console); });

  auto* segment_command = program.add_subcommand("segment", "Tell the materials of a CT apart and begin a case");
  auto options = std::make_shared<SegmentOptions>();
  segment_command->add_option("PATH", options->path, "Folder or file that holds the CT")->required();
  segment_command->add_option("--case", options->case_path, "Case folder; made where there is none")->required();
  segment_command->add_option("--series", options->series, "Series UID, where PATH holds several volumes");
  segment_command->add_option("--materials", options->materials, "Corrected label map to use instead of computing one (NRRD, NIfTI, MetaImage or DICOM SEG)");
  segment_command->add_option("--object", options->object, "Object's identity on the papers (default: the folder's name)");
  segment_command->add_flag("--allow-gaps", options->allow_gaps, "Go on over missing slices");
  segment_command->add_flag("--correct-air", options->correct_air, "Shift HU so that room air reads -1000");
  segment_command->add_flag("--json", options->as_json, "Answer as JSON");
  segment_command->callback([=] { segment_path(*options, console); });
}

}  // namespace leastharm
