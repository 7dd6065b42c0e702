#include "phantom_data/phantom.h"

#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "imaging/material.h"
#include "scanner.h"
#include "scenario.h"

namespace leastharm::phantom {
namespace {

constexpr double kMostVoxels = 4e8;

const Scenario& scenario_named(std::string_view name) {
  std::string known;
  for (const Scenario& scenario : all_scenarios()) {
    if (scenario.name == name) return scenario;
    known += (known.empty() ? "" : ", ") + scenario.name;
  }
  throw BadInput("No invented body is called \"" + std::string(name) + "\". There are: " + known + ".");
}

std::string written(double value) {
  std::string text = std::to_string(value);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text;
}

void check(const char* what, double value, double low, double high, const char* unit) {
  if (value >= low && value <= high) return;   // false for NaN, too
  throw BadInput(std::string(what) + " is " + written(value) + " " + unit + "; give " + written(low) + " to " +
                 written(high) + " " + unit + ".");
}

void check(const PhantomOptions& options) {
  for (int axis = 0; axis < 3; ++axis) {
    if (options.spacing_mm) check("The voxel spacing", (*options.spacing_mm)[axis], 0.3, 10, "mm");
    if (options.grid_rotation_deg)
      check("The grid's rotation", (*options.grid_rotation_deg)[axis], -360, 360, "degrees");
    check("The pose's rotation", options.pose.rotation_deg[axis], -360, 360, "degrees");
    check("The pose's shift", options.pose.shift_mm[axis], -5000, 5000, "mm");
  }
  if (options.noise_hu) check("The noise", *options.noise_hu, 0, 200, "HU");
  check("The HU offset", options.hu_offset, -500, 500, "HU");
}

// The smallest grid of this direction that covers the content, centred on it.
Grid grid_over(const Box& content, const Move& lps_from_scene, const Vec3& spacing_mm, const Mat3& direction) {
  Grid grid;
  grid.spacing_mm = spacing_mm;
  grid.direction = direction;
  const Mat3 along = (direction.transpose() * lps_from_scene.turn).cwiseAbs();
  const Vec3 extent = along * (content.high - content.low);
  Vec3 to_first;
  double voxels = 1;
  for (int axis = 0; axis < 3; ++axis) {
    const double count = std::max(3.0, std::ceil(extent[axis] / spacing_mm[axis] - 1e-6));
    voxels *= count;
    grid.size[static_cast<std::size_t>(axis)] = static_cast<int>(count);
    to_first[axis] = -0.5 * (count - 1) * spacing_mm[axis];
  }
  if (voxels > kMostVoxels)
    throw BadInput("This spacing asks for " + written(std::round(voxels / 1e6)) +
                   " million voxels; the most is 400 million. Give a wider spacing.");
  grid.origin_lps_mm = lps_from_scene.apply(content.centre()) + direction * to_first;
  return grid;
}

// The box in the scene's frame that holds the whole grid.
Box reach(const Grid& grid, const Move& lps_from_scene) {
  const Vec3 size(grid.size[0], grid.size[1], grid.size[2]);
  const Vec3 half = 0.5 * grid.spacing_mm.cwiseProduct(size);
  const Vec3 centre = lps_from_scene.undo(grid.lps_from_index(0.5 * (size - Vec3::Ones())));
  const Vec3 around = (lps_from_scene.turn.transpose() * grid.direction).cwiseAbs() * half;
  return {centre - around, centre + around};
}

Mat3 turn_of(bool prone, bool feet_first) {
  return turn_deg({0, feet_first ? 180.0 : 0.0, 0}) * turn_deg({0, 0, prone ? 180.0 : 0.0});
}

nlohmann::json described(const Vec3& v) { return {v.x() + 0.0, v.y() + 0.0, v.z() + 0.0}; }   // no -0

nlohmann::json described(const Mat3& m) {
  nlohmann::json rows = nlohmann::json::array();
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) rows.push_back(m(r, c));
  return rows;
}

nlohmann::json describe(const Scenario& scenario, const Phantom& phantom, const ScannerSettings& settings) {
  const Grid& grid = phantom.hu.grid;
  nlohmann::json labels, points;
  for (std::size_t m = 0; m < kMaterialCount; ++m) labels[std::string(kMaterialNames[m])] = m;
  for (const auto& [name, p] : phantom.points) points[name] = described(p);
  nlohmann::json midline = nlohmann::json::array();
  for (const Vec3& p : phantom.frame.midline_lps_mm) midline.push_back(described(p));
  return {{"scenario", scenario.name},
          {"what", scenario.what},
          {"invented", "This body is invented. It is computed from shapes; no real person, animal or scan stands behind it."},
          {"seed", settings.seed},
          {"noise_hu", settings.noise_hu},
          {"hu_offset", settings.hu_offset},
          {"effective_energy_kev", 68},
          {"grid", {{"size", grid.size},
                    {"spacing_mm", described(grid.spacing_mm)},
                    {"origin_lps_mm", described(grid.origin_lps_mm)},
                    {"direction", described(grid.direction)}}},
          {"frame", {{"coordinates", "DICOM patient LPS, mm"},
                     {"head", described(phantom.frame.head)},
                     {"front", described(phantom.frame.front)},
                     {"left", described(phantom.frame.left())},
                     {"midline_lps_mm", midline}}},
          {"points_lps_mm", points},
          {"truth_labels", labels},
          {"truth_rule", "the material with the largest share of a voxel; thin air gaps in linen count as wrapping"}};
}

}  // namespace

std::vector<std::string> scenario_names() {
  std::vector<std::string> names;
  for (const Scenario& scenario : all_scenarios()) names.push_back(scenario.name);
  return names;
}

Phantom make_phantom(std::string_view name, const PhantomOptions& options) {
  const Scenario& scenario = scenario_named(name);
  check(options);
  const Pose& pose = options.pose;
  const Mat3 turn = turn_of(pose.prone != scenario.prone, pose.feet_first != scenario.feet_first);
  ScannerSettings settings;
  settings.lps_from_scene = {turn_deg(pose.rotation_deg), pose.shift_mm, 1};
  settings.noise_hu = options.noise_hu.value_or(scenario.noise_hu);
  settings.hu_offset = options.hu_offset;
  settings.seed = options.seed;
  settings.scan = options.scan;
  settings.threads = options.threads;
  settings.grid = grid_over(Move{.turn = turn}.apply(scenario.content), settings.lps_from_scene,
                            options.spacing_mm.value_or(scenario.spacing_mm),
                            turn_deg(options.grid_rotation_deg.value_or(scenario.grid_rotation_deg)));
  const Scene scene =
      scenario.build({options.seed, options.threads, turn, reach(settings.grid, settings.lps_from_scene)});

  Phantom out;
  Scan result = scan(scene, settings);
  out.hu = std::move(result.hu);
  out.truth = std::move(result.truth);
  const Mat3 lps_from_body = settings.lps_from_scene.turn * turn;
  out.frame.head = lps_from_body * Vec3(0, 0, 1);
  out.frame.front = lps_from_body * Vec3(0, -1, 0);
  out.frame.certainty = 1;
  for (const Vec3& p : scene.midline) out.frame.midline_lps_mm.push_back(settings.lps_from_scene.apply(p));
  for (const auto& [place, p] : scene.points) out.points[place] = settings.lps_from_scene.apply(p);
  out.scenario = describe(scenario, out, settings);
  return out;
}

}  // namespace leastharm::phantom
