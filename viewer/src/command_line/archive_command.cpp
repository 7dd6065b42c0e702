// use and archive: what becomes of the samples, and everything that must outlive the program.
#include <algorithm>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "planner/bag.h"
#include "viewer/command_line.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

struct UseOptions {
  std::string case_path, sample, purpose, by, why;
  double mg = 0;
  int corrects = 0;
  bool as_json = false;
};

const Core& core_of_sample(const std::vector<Core>& cores, const std::string& sample) {
  return *std::ranges::find(cores, sample, [](const Core& c) { return c.taken.sample; });
}

void use(const UseOptions& o, const Console& console) {
  if (o.purpose.empty() || o.by.empty())
    throw BadInput("use needs what it was for (--for TEXT) and who used it (--by NAME)");
  if (o.corrects != 0 && o.why.empty()) throw BadInput("a correction needs the reason: --why TEXT");
  CaseFolder folder = CaseFolder::open(o.case_path);
  json what{{"sample", o.sample}, {"mg", o.mg}, {"for", o.purpose}, {"by", o.by}};
  if (o.corrects != 0) what.update({{"corrects", o.corrects}, {"why", o.why}});
  const int number = record_use(folder.file.records, std::move(what), time_now()).number;
  folder.save();
  const std::vector<Core> cores = cores_of(folder.file.records);
  const Core& core = core_of_sample(cores, o.sample);
  const double left_mg = std::round(core.left_mg() * 1e4) / 1e4;
  if (o.as_json)
    console.out << json{{"record", number},
                        {"sample", o.sample},
                        {"net_mg", core.taken.net_mg},
                        {"used_mg", std::round(core.used_mg() * 1e4) / 1e4},
                        {"left_mg", left_mg}}
                       .dump(1)
                << "\n";
  else
    console.out << "record " << number << ": " << brief(o.mg) << " mg of " << o.sample
                << " used for " << o.purpose << "; " << brief(left_mg) << " mg left\n";
}

struct ArchiveOptions {
  std::string case_path, output;
  bool with_ct = false;
};

std::string place_of(const Vec3& p) { return fixed(p.x(), 1) + ", " + fixed(p.y(), 1) + ", " + fixed(p.z(), 1); }

/// Where a core was meant to come from, and how far off it was where that was recorded.
std::string where_line(const Core& core, const CaseFile& file) {
  const auto track = std::ranges::find(file.plan.tracks, core.track, &Track::id);
  std::string text;
  if (track != file.plan.tracks.end() && core.plan == plan_label(file)) {
    text += "    where: planned entry at " + place_of(track->entry_lps_mm) + ", tip at " + place_of(track->tip_lps_mm) +
            " mm of the planning CT";
    if (!track->request.empty()) text += ", for request " + track->request;
  } else {
    text += "    where: track " + core.track + " of plan " + core.plan + " (history/ holds that plan)";
  }
  if (!core.held_against_plan.is_null())
    text += "; the tip came " + fixed(core.held_against_plan.at("tip_mm"), 1) + " mm off it";
  return text + "\n";
}

std::string sample_lines(const CaseFile& file, const std::vector<Core>& cores) {
  if (cores.empty()) return "No core is recorded yet.\n";
  std::string text;
  for (const Core& c : cores) {
    const Taken& t = c.taken;
    std::string persons;
    for (const Person& p : t.persons)
      persons += (persons.empty() ? "" : ", ") + p.name + " (" + p.role + ")";
    text += "Track " + c.track + ", " + t.taken_at + ", by " + persons + ": ";
    if (t.aborted) {
      text += "aborted, because: " + t.reason + "\n" + where_line(c, file);
      continue;
    }
    text += "sample " + t.sample + ", net " + brief(t.net_mg) + " mg, in " + t.container +
            ", custodian " + t.custodian + "\n" + where_line(c, file);
    for (const Use& u : c.uses)
      text +=
          "    used " + brief(u.mg) + " mg for " + u.purpose + " by " + u.by + ", " + u.at + "\n";
    text += "    left " + brief(std::round(c.left_mg() * 1e4) / 1e4) + " mg\n";
  }
  return text;
}

std::string approval_lines(const CaseFile& file) {
  std::string text;
  for (const Approval& a : file.approvals) {
    const bool counts = a.voided.empty() && changed_since(a, file).empty();
    text += a.role + ": " + a.decision + " by " + a.by + ", " + a.at +
            (counts ? "" : " (void: the plan changed since)") +
            (a.condition.empty() ? "" : "; condition: " + a.condition) + "\n";
  }
  return text.empty() ? "None recorded.\n" : text;
}

/// The question, and what the laboratory asked for.
std::string why_lines(const CaseFile& file) {
  if (!file.request) return "Nothing was asked yet.\n";
  const auto& answers = file.request->dossier.answers;
  const auto question = answers.find("question");
  std::string text = (question == answers.end() ? "The question was not written down." : question->second) + "\n";
  for (const Request& r : file.request->requests) {
    text += "Request " + r.id + ": " + std::to_string(r.replicates) + (r.replicates == 1 ? " core of " : " cores of ") +
            (r.material ? std::string(name_of(*r.material)) : "packing or resin") +
            (r.cavity.empty() ? "" : " from \"" + r.cavity + "\"") + ", " + brief(r.need_mg()) + " mg needed" +
            (r.pooled ? " in all" : " of each") + ", for";
    for (const Assay& a : r.assays) text += (&a == r.assays.data() ? " " : "; ") + a.name + " (uses " + brief(a.uses_mg) + " mg)";
    text += "\n";
  }
  return text;
}

std::string reading_guide(const CaseFile& file, const std::vector<Core>& cores, bool with_ct) {
  return "HOW TO READ THIS ARCHIVE\n\n"
         "It is about sampling the object \"" +
         file.object_id +
         "\": what was planned and why, who agreed, what was taken, and what is\n"
         "left. No special program is needed. Plan " +
         plan_label(file) + ", SHA-256 " + plan_sha256(file) +
         ".\n\n"
         "WHY\n\n" + why_lines(file) + "\n"
         "WHO, WHERE, HOW MUCH, WHAT IS LEFT\n\n" +
         sample_lines(file, cores) + "\nWHO AGREED\n\n" + approval_lines(file) +
         "\nFILES\n\n"
         "printouts/       the plan as the committee read it, and the day's cards (PDF)\n"
         "samples.csv      every core: masses in mg, container, custodian, persons, positions (any "
         "spreadsheet reads it)\n"
         "samples.jsonld   the same as linked data: CIDOC CRM and CRMsci terms (JSON-LD 1.1)\n"
         "tracks.csv       the planned needle tracks and their figures\n"
         "records.json     everything that happened after planning, in order; each entry holds the "
         "hash of the one before\n"
         "case.json        the whole case: marks, request, tracks, approvals (JSON; keys carry "
         "their unit)\n"
         "transfers/       the plan carried into the CT of the day\n"
         "materials.nrrd   the material map: 0 air, 1 wrapping, 2 body, 3 packing, 4 bone, 5 "
         "resin, 6 dense, 7 support (NRRD)\n"
         "confidence.nrrd  how sure the map is: 255 = sure\n"
         "marks/           regions that people set (NRRD masks)\n" +
         std::string(with_ct ? "ct.nrrd          the planning CT in HU (NRRD)\n" : "") +
         "\nPositions are DICOM patient coordinates (LPS: x to the scanner's left, y to its back, "
         "z to its head), mm.\n\n"
         "THE CT\n\n"
         "Series " +
         (file.ct.series_uid.empty() ? "without UID" : file.ct.series_uid) +
         ", SHA-256 of grid and HU " + file.ct.sha256 +
         ".\n"
         "The CT itself is " +
         (with_ct ? "in ct.nrrd.\n"
                  : "not in this archive; it is known again by that hash wherever it lies.\n") +
         "\nIS IT WHOLE?\n\n"
         "One folder up, manifest-sha256.txt lists the SHA-256 of every file (BagIt, RFC 8493). "
         "Where sha256sum is at hand:\n"
         "    sha256sum -c manifest-sha256.txt\n\n"
         "\"Least harm\" in these papers means: least score under these weights, this map, these "
         "needles, straight tracks.\n";
}

void add_folder(Bag& bag, const fs::path& root, const std::string& name) {
  if (!fs::exists(root / name)) return;
  for (const auto& entry : fs::recursive_directory_iterator(root / name))
    if (entry.is_regular_file())
      bag.add_file(fs::relative(entry.path(), root).generic_string(), entry.path());
}

/// Printouts may lie anywhere: those outside the case folder come along too.
void add_printouts(Bag& bag, const CaseFolder& folder) {
  add_folder(bag, folder.root(), "printouts");
  for (const Printout& p : folder.file.printouts) {
    const fs::path path = fs::weakly_canonical(folder.root() / p.file);
    if (!fs::path(p.file).lexically_normal().generic_string().starts_with("printouts/") &&
        fs::exists(path))
      bag.add_file("printouts/" + p.sha256.substr(0, 12) + "-" + path.filename().string(), path);
  }
}

void archive(const ArchiveOptions& o, const Console& console) {
  const CaseFolder folder = CaseFolder::open(o.case_path);
  const CaseFile& file = folder.file;
  if (const auto faults = record_faults(file.records); !faults.empty())
    throw BadInput("the records of this case do not hold (" + faults.front() +
                   "): leastharm verify says more; put the newest sound file of history/ in place");
  const auto volumes = open_volumes(folder);
  const std::vector<Core> cores = cores_of(file.records);
  Bag bag(o.output);
  bag.add_text("READ-ME-FIRST.txt", reading_guide(file, cores, o.with_ct));
  for (const char* name : {"case.json", "materials.nrrd", "confidence.nrrd"})
    bag.add_file(name, folder.root() / name);
  if (fs::exists(folder.root() / "corrections.nrrd"))
    bag.add_file("corrections.nrrd", folder.root() / "corrections.nrrd");
  for (const char* name : {"marks", "transfers", "history"}) add_folder(bag, folder.root(), name);
  add_printouts(bag, folder);
  json records = json::array();
  for (const Record& r : file.records) records.push_back(to_json(r));
  bag.add_text("records.json", records.dump(1) + "\n");
  bag.add_text("samples.csv", samples_csv(cores, file.object_id));
  bag.add_text("samples.jsonld", samples_json_ld(cores, file.object_id).dump(1) + "\n");
  if (!file.plan.tracks.empty())
    bag.add_text("tracks.csv", tracks_csv(assess_plan(folder, *volumes, 1)));
  if (o.with_ct) write_hu(volumes->ct.hu, bag.place_for("ct.nrrd"));
  bag.finish({{"External-Identifier", file.object_id},
              {"External-Description",
               "Sampling plan " + plan_label(file) + ", approvals, records and samples"},
              {"Internal-Sender-Identifier", plan_sha256(file)},
              {"Bagging-Date", time_now().substr(0, 10)},
              {"Bag-Software-Agent", std::string("Leastharm ") + software_version()}});
  console.out << "archive of plan " << plan_label(file) << " written to " << o.output
              << "; read data/READ-ME-FIRST.txt\n";
}

}  // namespace

void add_sample_commands(CLI::App& program, const Console& console) {
  auto* use_command = program.add_subcommand("use", "Take what was used off a sample's balance");
  auto u = std::make_shared<UseOptions>();
  use_command->add_option("--case", u->case_path, "Case folder")->required();
  use_command->add_option("--sample", u->sample, "Sample id")->required();
  use_command->add_option("--mg", u->mg, "Mass used, mg")->required();
  use_command->add_option("--for", u->purpose, "What it was used for")->required();
  use_command->add_option("--by", u->by, "Who used it")->required();
  use_command->add_option("--corrects", u->corrects, "Number of the use that this one puts right");
  use_command->add_option("--why", u->why, "Corrections: the reason");
  use_command->add_flag("--json", u->as_json, "Answer as JSON");
  use_command->callback([=] { use(*u, console); });

  auto* archive_command = program.add_subcommand(
      "archive", "Put everything into a folder that can be read without this program (BagIt)");
  auto a = std::make_shared<ArchiveOptions>();
  archive_command->add_option("--case", a->case_path, "Case folder")->required();
  archive_command->add_option("--output", a->output, "New folder for the archive")->required();
  archive_command->add_flag("--with-ct", a->with_ct, "Put the planning CT in as well, as NRRD");
  archive_command->callback([=] { archive(*a, console); });
}

}  // namespace leastharm
