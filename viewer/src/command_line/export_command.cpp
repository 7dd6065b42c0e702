// export: parts of a case for other programs.
#include <algorithm>
#include <sstream>

#include "imaging/error.h"
#include "imaging/seg_file.h"
#include "imaging/volume_file.h"
#include "imaging/whole_file.h"
#include "program.h"
#include "surface_file.h"
#include "viewer/command_line.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

struct ExportOptions {
  std::string case_path, what, as, output;
};

/// How the formats of volumes and masks are named on the command line, and what their files end in.
struct Format {
  const char* name;
  std::vector<std::string> endings;
};
const std::vector<Format> kFormats{{"nrrd", {".nrrd"}}, {"nifti", {".nii.gz", ".nii"}}, {"dicom-seg", {".dcm"}}, {"stl", {".stl"}}};

const Format* format_named(const std::string& as) {
  const auto found = std::ranges::find(kFormats, as, &Format::name);
  return found == kFormats.end() ? nullptr : &*found;
}

void check_ending(const fs::path& output, const Format& format) {
  const std::string name = output.filename().string();
  if (std::ranges::any_of(format.endings, [&](const std::string& e) { return name.ends_with(e); })) return;
  throw BadInput("--output " + output.string() + ": the name must end in " + joined(format.endings));
}

void make_folder(const fs::path& path) {
  std::error_code error;
  fs::create_directories(path, error);
  if (error || !fs::is_directory(path)) throw BadInput("--output " + path.string() + ": cannot make this folder; name another");
}

SegFacts seg_facts(const CaseFolder& folder, const std::string& label) {
  return {.object_id = folder.file.object_id,
          .frame_of_reference_uid = folder.file.ct.frame_of_reference_uid,
          .label = label,
          .software_version = software_version(),
          .time = time_now()};
}

/// Every material that occurs, but for air.
std::vector<NamedMask> material_masks(const Volume<std::uint8_t>& materials) {
  std::vector<NamedMask> masks;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (std::ranges::find(materials.values, static_cast<std::uint8_t>(m)) != materials.values.end())
      masks.push_back({std::string(kMaterialNames[m]), material_mask(materials, static_cast<Material>(m))});
  return masks;
}

void export_materials(const CaseFolder& folder, const ExportOptions& o, const Format& format) {
  const Volume<std::uint8_t> materials = folder.read_materials();
  if (o.as == "stl") {
    make_folder(o.output);
    for (const auto& [name, mask] : material_masks(materials)) write_surface(mask, fs::path(o.output) / (name + ".stl"));
    return;
  }
  check_ending(o.output, format);
  if (o.as == "dicom-seg") write_dicom_seg(material_masks(materials), seg_facts(folder, "MATERIALS"), o.output);
  else write_labels(materials, o.output);
}

/// A mark's name as that of a file.
std::string file_name(std::string name) {
  for (char& c : name)
    if (c == ' ' || c == '\\' || c == ':') c = '-';
  return name;
}

void export_marks(const CaseFolder& folder, const ExportOptions& o, const Format& format) {
  if (folder.file.marks.empty()) throw BadInput("the case has no marks to export");
  std::vector<NamedMask> marks;
  for (const MarkRecord& mark : folder.file.marks) marks.push_back({mark.name, folder.read_mark(mark)});
  if (o.as == "dicom-seg") {
    check_ending(o.output, format);
    SegFacts facts = seg_facts(folder, "MARKS");
    facts.drawn = true;
    return write_dicom_seg(marks, facts, o.output);
  }
  make_folder(o.output);
  for (const auto& [name, mask] : marks) {
    const fs::path path = fs::path(o.output) / (file_name(name) + format.endings.front());
    if (o.as == "stl") write_surface(mask, path);
    else write_labels(labels_from_mask(mask), path);
  }
}

void export_case(const ExportOptions& o, const Console& console) {
  const CaseFolder folder = CaseFolder::open(o.case_path);
  const Format* format = format_named(o.as);
  if (o.what == "materials" && format) {
    export_materials(folder, o, *format);
  } else if (o.what == "marks" && format) {
    export_marks(folder, o, *format);
  } else if (o.what == "tracks" && o.as == "csv") {
    write_whole(o.output, tracks_csv(assess_plan(folder, *open_volumes(folder), 1)));
  } else if (o.what == "samples" && o.as == "csv") {
    write_whole(o.output, samples_csv(cores_of(folder.file.records), folder.file.object_id));
  } else if (o.what == "samples" && o.as == "json-ld") {
    write_whole(o.output, samples_json_ld(cores_of(folder.file.records), folder.file.object_id).dump(1) + "\n");
  } else {
    throw BadInput("export --what " + o.what + " --as " + o.as +
                   ": materials and marks go as nrrd, nifti, dicom-seg or stl, tracks as csv, samples as csv or json-ld");
  }
  console.out << o.what << " written to " << o.output << "\n";
}

}  // namespace

void add_export_command(CLI::App& program, const Console& console) {
  auto* command = program.add_subcommand(kExport.name, kExport.what);
  auto o = std::make_shared<ExportOptions>();
  command->add_option("--case", o->case_path, "Case folder")->required();
  command->add_option("--what", o->what, "materials, marks, tracks or samples")->required();
  command->add_option("--as", o->as, "nrrd, nifti, dicom-seg, csv, stl or json-ld")->required();
  command->add_option("--output", o->output, "File to write; for surfaces (stl), and for marks but as dicom-seg: a folder")->required();
  command->callback([=] { export_case(*o, console); });
}

}  // namespace leastharm
