#include <CLI/CLI.hpp>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>

#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "phantom_data/ct_series.h"
#include "phantom_data/phantom.h"

namespace {

using namespace leastharm;
using namespace leastharm::phantom;

struct Command {
  std::string scenario = "adult";
  std::filesystem::path output;
  std::vector<double> spacing_mm;
  double noise_hu = -1;
  bool list = false;
  PhantomOptions options;
};

void add_options(CLI::App& app, Command& command) {
  app.add_option("--scenario", command.scenario, "Which invented body (see --list)");
  app.add_option("--output", command.output, "Folder for ct/, truth.nrrd and scenario.json");
  app.add_option("--seed", command.options.seed, "Another seed, another body of the same kind");
  app.add_option("--noise", command.noise_hu, "Standard deviation, HU")->check(CLI::Range(0.0, 200.0));
  app.add_option("--spacing", command.spacing_mm, "Voxel size X,Y,Z in mm")->delimiter(',')->expected(3);
  app.add_option("--threads", command.options.threads, "0: as many as there are");
  app.add_flag("--list", command.list, "Name the bodies and stop");
}

void write(const Phantom& phantom, const Command& command) {
  const std::filesystem::path& folder = command.output;
  if (std::filesystem::exists(folder / "ct") && !std::filesystem::exists(folder / "scenario.json"))
    throw BadInput((folder / "ct").string() + " holds something else already. Give another --output.");
  std::filesystem::remove_all(folder / "ct");   // slices of an earlier body
  CtSeriesOptions series;
  series.seed = command.scenario + " " + std::to_string(command.options.seed);
  const std::size_t files = write_ct_series(phantom.hu, folder / "ct", series).size();
  write_labels(phantom.truth, folder / "truth.nrrd");
  std::ofstream text(folder / "scenario.json");
  text << phantom.scenario.dump(2) << '\n';
  if (!text.flush()) throw BadInput("Cannot write " + (folder / "scenario.json").string() + ". Is the disk full?");
  const auto& size = phantom.hu.grid.size;
  std::cerr << command.scenario << " (invented): " << size[0] << " x " << size[1] << " x " << size[2] << " voxels, " << files
            << " slices in " << (folder / "ct").string() << '\n';
}

void run(Command& command) {
  if (command.list) {
    for (const std::string& name : scenario_names()) std::cout << name << '\n';
    return;
  }
  if (command.output.empty()) throw BadInput("Say where to write: --output DIR.");
  if (command.noise_hu >= 0) command.options.noise_hu = command.noise_hu;
  if (!command.spacing_mm.empty())
    command.options.spacing_mm = Vec3(command.spacing_mm[0], command.spacing_mm[1], command.spacing_mm[2]);
  write(make_phantom(command.scenario, command.options), command);
}

}  // namespace

int main(int argc, char** argv) {
  Command command;
  CLI::App app("Makes a CT series of an invented mummy, with its truth beside it.");
  add_options(app, command);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  try {
    run(command);
    return 0;
  } catch (const BadInput& error) {
    std::cerr << error.what() << '\n';
    return 2;
  } catch (const std::exception& error) {
    std::cerr << "Internal fault: " << error.what() << '\n';
    return 1;
  }
}
