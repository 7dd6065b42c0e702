// demo: the whole chain on an invented body, each step by the same commands that a person would type.
#include <algorithm>
#include <sstream>

#include "imaging/error.h"
#include "imaging/whole_file.h"
#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "phantom_data/phantom.h"
#include "program.h"
#include "viewer/command_line.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

constexpr const char* kDemoRequest = R"({
 "requests": [
  {
   "id": "P",
   "from": {"cavity": "body cavity", "material": "packing"},
   "assays": [
    {"name": "light microscopy of grains", "uses_mg": 0},
    {"name": "electron microscopy of grains", "uses_mg": 0},
    {"name": "gas chromatography with mass spectrometry", "uses_mg": 5}
   ],
   "retain_mg": 2,
   "replicates": 4,
   "spacing_mm": 15,
   "sides": "both",
   "largest_particle_mm": 0.8
  }
 ],
 "needles": ["end-cut 8G 20 mm", "core 2.4 mm bore 20 mm"],
 "time_s": 240,
 "dossier": {
  "object": "Invented adult body, wrapped, on a wooden board. No such object exists.",
  "owner": "An invented collection",
  "question": "Which resins and plant oils were mixed into the packing, and is it the same on both sides of the spine? The answer decides how the body is stored and what may be said about its embalming.",
  "why not less": "The packing cannot be seen or reached from outside; the CT cannot tell one plant product from another.",
  "loose material": "Looked for under the body and in the flank opening: none found.",
  "existing opening": "The flank opening is marked and free to use where a route through it does less harm.",
  "archived sample": "None is recorded for this object.",
  "smaller mass": "Asked of the laboratory: 5 mg is its least for one run.",
  "condition": "Wrapping brittle at the feet, stable over the trunk.",
  "stop rules": "Stop at once at unexpected resistance, at dust that the extraction does not hold, or at the word of any person present.",
  "remains": "What is not used goes back into glass, labelled, to the collection's archive.",
  "custodian": "The invented collection's keeper"
 }
}
)";

/// Runs one command and hands back what it said; a failure ends the demo with that command's own words.
std::string run_step(const std::vector<std::string>& arguments) {
  std::ostringstream out, err;
  const int status = run_command_line(arguments, out, err);
  if (status != 0) {
    std::string line;
    for (const auto& argument : arguments) line += " " + argument;
    throw BadInput("the demo stopped at  leastharm" + line + "\n" + err.str());
  }
  return out.str();
}

nlohmann::json run_json_step(std::vector<std::string> arguments) {
  arguments.push_back("--json");
  return nlohmann::json::parse(run_step(arguments));
}

std::string as_option(const std::string& name, const Vec3& p, const std::string& more = "") {
  return name + "=" + fixed(p.x(), 1) + "," + fixed(p.y(), 1) + "," + fixed(p.z(), 1) + more;
}

struct Demo {
  const Console& console;
  fs::path folder;
  std::string case_path;
  int step = 0;

  void say(const std::string& what) { console.out << ++step << ". " << what << std::endl; }

  phantom::Phantom make_ct() {
    phantom::Phantom body = phantom::make_phantom("adult");
    fs::remove_all(folder / "ct");
    phantom::write_ct_series(body.hu, folder / "ct");
    write_labels(body.truth, folder / "truth.nrrd");
    write_whole(folder / "scenario.json", body.scenario.dump(1) + "\n");
    say("An invented adult body went through an invented scanner: " + std::to_string(body.hu.grid.size[2]) +
        " CT slices in " + (folder / "ct").string());
    return body;
  }

  void read_and_segment() {
    const auto found = run_json_step({"inspect", (folder / "ct").string()});
    const auto& series = found["series"][0];
    say("Intake: " + std::to_string(series["slices"].get<int>()) + " slices in order, " +
        fixed(series["spacing_mm"][2], 1) + " mm apart, no gaps");
    fs::remove_all(case_path);
    const auto map = run_json_step({"segment", (folder / "ct").string(), "--case", case_path, "--object", "INVENTED-1"});
    std::string volumes;
    for (const char* name : {"wrapping", "body", "packing", "bone", "resin", "dense"})
      volumes += (volumes.empty() ? "" : ", ") + std::string(name) + " " +
                 fixed(map["volume_mm3"][name].get<double>() / 1000, name == std::string("dense") ? 1 : 0) + " cm3";
    say("Materials told apart in " + fixed(map["seconds"], 1) + " s: " + volumes);
  }

  void confirm_and_mark(const phantom::Phantom& body) {
    run_step({"orient", "--case", case_path, "--accept", "--by", "R. Example (radiologist, invented)"});
    say("The proposed head, front and midline were confirmed by a named person, so that left means left");
    run_step({"mark", "--case", case_path, "--as", "cavity", "--name", "body cavity", "--material", "packing"});
    run_step({"mark", "--case", case_path, "--as", "opening", "--name", "flank opening",
              as_option("--ball", body.points.at("opening"), ",14")});
    run_step({"mark", "--case", case_path, "--as", "zone", "--name", "face", "--weight", "50",
              as_option("--ball", body.points.at("resin_skull") + 110 * body.frame.front, ",70")});
    say("Marked: the packing as cavity, the flank opening, the face as a zone; the amulet protects itself");
  }

  void plan() {
    write_whole(folder / "request.json", std::string_view(kDemoRequest));
    const auto answer = run_json_step({"propose", "--case", case_path, "--request", (folder / "request.json").string()});
    const auto& programme = answer["programme"];
    say("Proposed: " + std::to_string(answer["tracks"].size()) + " cores through " +
        std::to_string(programme["holes"].get<int>()) + " holes, together " + fixed(programme["mass_mg"], 1) +
        " mg (median), damage score " + fixed(programme["score"], 1) + ", lower bound " +
        fixed(answer["certificate"]["lower_bound"], 1));
  }

  void put_on_paper() {
    run_step({"print", "--case", case_path, "--output", (folder / "plan.pdf").string(), "--pictures",
              (folder / "pictures").string()});
    say("Printed for the committee: " + (folder / "plan.pdf").string());
    for (const std::string role : {"radiologist", "conservator", "committee"})
      run_step({"approve", "--case", case_path, "--role", role, "--by", "Invented " + role});
    run_step({"verify", "--case", case_path});
    say("Three invented people approved it; hashes, approvals and printout agree");
    run_step({"export", "--case", case_path, "--what", "materials", "--as", "nrrd", "--output",
              (folder / "materials.nrrd").string()});
    run_step({"export", "--case", case_path, "--what", "tracks", "--as", "csv", "--output",
              (folder / "tracks.csv").string()});
    say("Exported: materials.nrrd and tracks.csv, for other programs");
  }

  /// The object lies otherwise on the day, and the scanner's noise is new.
  void scan_on_the_day(const phantom::Phantom& planned) {
    phantom::PhantomOptions options;
    options.scan = 2;
    options.pose.rotation_deg = Vec3(2, -3, 6);
    options.pose.shift_mm = Vec3(30, -18, 20);
    options.spacing_mm = planned.hu.grid.spacing_mm;
    const phantom::Phantom day = phantom::make_phantom("adult", options);
    fs::remove_all(folder / "day_ct");
    phantom::CtSeriesOptions series;
    series.seed = "invented body, the day of sampling";
    phantom::write_ct_series(day.hu, folder / "day_ct", series);
  }

  void carry_into_the_day() {
    const auto moved = run_json_step({"transfer", "--case", case_path, "--ct", (folder / "day_ct").string()});
    double worst = 0;
    for (const auto& tip : moved["registration"]["tips"]) worst = std::max(worst, tip["error_p95_mm"].get<double>());
    run_step({"print", "--case", case_path, "--day-card", "--output", (folder / "day-card.pdf").string()});
    say("The day: scanned again, turned by " + fixed(moved["registration"]["rotation_deg"], 1) +
        " degrees; the plan was carried over (95 of 100 errors at a tip below " + fixed(worst, 1) + " mm), the day's card printed");
    const auto& tracks = moved["card"]["tracks"];
    const auto asks = std::ranges::count_if(tracks, [](const nlohmann::json& t) { return t["ask_first"] != ""; });
    if (asks > 0)
      say("In the day's CT " + std::to_string(asks) + " of " + std::to_string(tracks.size()) +
          " cores break a limit of the plan; the card says ASK FIRST beside them, why, and whom");
  }

  /// Every core but one; what the scale said is invented.
  void take_and_record() {
    const auto tracks = run_json_step({"assess", "--case", case_path})["tracks"];
    double net_mg = 0;
    for (std::size_t n = 0; n < tracks.size(); ++n) {
      const bool aborted = n + 1 == tracks.size();
      nlohmann::json said{{"outcome", aborted ? "aborted" : "taken"},
                          {"taken_at", "2026-03-04T1" + std::to_string(n % 10) + ":00:00Z"},
                          {"persons", {{{"name", "O. Example (invented)"}, {"role", "operator"}}}}};
      if (aborted) {
        said["reason"] = "unexpected resistance, stopped by the conservator";
      } else {
        net_mg = std::round(10 * tracks[n]["core"]["mass_mg"].get<double>()) / 10;
        said.update({{"sample", "INVENTED-1/" + std::to_string(n + 1)}, {"gross_mg", 1200 + net_mg}, {"tare_mg", 1200}, {"net_mg", net_mg},
                     {"container", "glass vial " + std::to_string(n + 1)}, {"custodian", "The invented collection's keeper"}});
      }
      const fs::path file = folder / ("taken-" + std::to_string(n + 1) + ".json");
      write_whole(file, said.dump(1) + "\n");
      run_step({"record", "--case", case_path, "--track", tracks[n]["id"], "--taken", file.string()});
    }
    run_step({"use", "--case", case_path, "--sample", "INVENTED-1/1", "--mg", "5", "--for", "gas chromatography", "--by", "An invented laboratory"});
    run_step({"verify", "--case", case_path});
    say("Recorded: " + std::to_string(tracks.size() - 1) + " cores taken, one aborted; 5 mg used; balances and records agree");
  }

  void put_away() {
    fs::remove_all(folder / "archive");
    run_step({"archive", "--case", case_path, "--output", (folder / "archive").string()});
    say("Archived: " + (folder / "archive").string() + ", readable without any program");
  }
};

void run_demo(const std::string& output, const Console& console) {
  fs::create_directories(output);
  Demo demo{.console = console, .folder = output, .case_path = (fs::path(output) / "case").string()};
  const phantom::Phantom body = demo.make_ct();
  demo.read_and_segment();
  demo.confirm_and_mark(body);
  demo.plan();
  demo.put_on_paper();
  demo.scan_on_the_day(body);
  demo.carry_into_the_day();
  demo.take_and_record();
  demo.put_away();
  console.out << "\nEverything shown is invented. Read " << (demo.folder / "plan.pdf").string() << " and the pictures in "
              << (demo.folder / "pictures").string() << "\n";
}

}  // namespace

void add_demo_command(CLI::App& program, const Console& console) {
  auto* command = program.add_subcommand(kDemo.name, kDemo.what);
  auto output = std::make_shared<std::string>("leastharm-demo");
  command->add_option("--output", *output, "Folder for everything it makes");
  command->callback([=] { run_demo(*output, console); });
}

}  // namespace leastharm
