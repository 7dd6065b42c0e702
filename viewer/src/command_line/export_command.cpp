// export: parts of a case for other programs.
#include <algorithm>
#include <sstream>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "imaging/whole_file.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

struct ExportOptions {
  std::string case_path, what, as, output;
};

void check_ending(const fs::path& output, const std::string& as) {
  const std::string name = output.filename().string();
  const bool fits = as == "nrrd" ? name.ends_with(".nrrd") : name.ends_with(".nii") || name.ends_with(".nii.gz");
  if (!fits) throw BadInput("--output " + output.string() + ": the name must end in " + (as == "nrrd" ? ".nrrd" : ".nii or .nii.gz"));
}

void export_marks(const CaseFolder& folder, const ExportOptions& o) {
  if (folder.file.marks.empty()) throw BadInput("the case has no marks to export");
  fs::create_directories(o.output);
  for (const MarkRecord& mark : folder.file.marks) {
    std::string name = mark.name;
    std::ranges::replace(name, ' ', '-');
    write_labels(labels_from_mask(folder.read_mark(mark)),
                 fs::path(o.output) / (name + (o.as == "nrrd" ? ".nrrd" : ".nii.gz")));
  }
}

std::string quoted(const std::string& text) {
  std::string inside = text;
  for (std::size_t at = 0; (at = inside.find('"', at)) != std::string::npos; at += 2) inside.insert(at, 1, '"');
  return '"' + inside + '"';
}

}  // namespace

std::string tracks_csv(const Assessment& assessment) {
  std::ostringstream csv;
  csv << "id,request,side,admissible,needle,outer_mm,bore_mm,entry_x_lps_mm,entry_y_lps_mm,entry_z_lps_mm,tip_x_lps_mm,"
         "tip_y_lps_mm,tip_z_lps_mm,path_length_mm,entry_angle_deg,tilt_deg,hole_area_mm2,mass_mg,mass_mg_p05,mass_mg_p95,"
         "p_enough,p_reach,score";
  for (const std::string_view material : kMaterialNames)
    if (material != "air") csv << ",swept_" << material << "_mm3";
  csv << "\n";
  for (const TrackAssessment& t : assessment.tracks) {
    csv << quoted(t.track.id) << ',' << quoted(t.track.request) << ',' << quoted(t.side) << ',' << (t.admissible ? "yes" : "no")
        << ',' << quoted(t.track.needle.name) << ',' << t.track.needle.outer_mm << ',' << t.track.needle.bore_mm;
    for (const Vec3& p : {t.track.entry_lps_mm, t.track.tip_lps_mm})
      for (int n = 0; n < 3; ++n) csv << ',' << fixed(p[n], 2);
    csv << ',' << fixed(t.path_length_mm, 2) << ',' << fixed(t.entry_angle_deg, 2) << ',' << fixed(t.tilt_deg, 2) << ','
        << fixed(t.hole_area_mm2, 2) << ',' << fixed(t.core.mass_mg, 2) << ',' << fixed(t.core.mass_mg_p05, 2) << ','
        << fixed(t.core.mass_mg_p95, 2) << ',' << (t.core.p_enough ? fixed(*t.core.p_enough, 4) : "") << ','
        << fixed(t.p_reach, 4) << ',' << fixed(t.damage.score, 3);
    for (std::size_t m = 1; m < kMaterialCount; ++m) csv << ',' << fixed(t.swept_mm3[m], 3);
    csv << "\n";
  }
  return csv.str();
}

namespace {

void export_case(const ExportOptions& o, const Console& console) {
  const CaseFolder folder = CaseFolder::open(o.case_path);
  const bool volume = o.as == "nrrd" || o.as == "nifti";
  if (o.what == "materials" && volume) {
    check_ending(o.output, o.as);
    write_labels(folder.read_materials(), o.output);
  } else if (o.what == "marks" && volume) {
    export_marks(folder, o);
  } else if (o.what == "tracks" && o.as == "csv") {
    write_whole(o.output, tracks_csv(assess_plan(folder, *open_volumes(folder), 1)));
  } else if (o.what == "samples" && o.as == "csv") {
    write_whole(o.output, samples_csv(cores_of(folder.file.records), folder.file.object_id));
  } else if (o.what == "samples" && o.as == "json-ld") {
    write_whole(o.output, samples_json_ld(cores_of(folder.file.records), folder.file.object_id).dump(1) + "\n");
  } else if (o.as == "dicom-seg" || o.as == "stl") {
    throw BadInput("export --as " + o.as + " is not built yet in this version");
  } else {
    throw BadInput("export --what " + o.what + " --as " + o.as +
                   ": materials and marks go as nrrd or nifti, tracks as csv, samples as csv or json-ld");
  }
  console.out << o.what << " written to " << o.output << "\n";
}

}  // namespace

void add_export_command(CLI::App& program, const Console& console) {
  auto* command = program.add_subcommand("export", "Write materials, marks or tracks in an open format");
  auto o = std::make_shared<ExportOptions>();
  command->add_option("--case", o->case_path, "Case folder")->required();
  command->add_option("--what", o->what, "materials, marks, tracks or samples")->required();
  command->add_option("--as", o->as, "nrrd, nifti, dicom-seg, csv, stl or json-ld")->required();
  command->add_option("--output", o->output, "File to write; for marks, a folder")->required();
  command->callback([=] { export_case(*o, console); });
}

}  // namespace leastharm
