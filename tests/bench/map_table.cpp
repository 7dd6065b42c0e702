// Prints, as Markdown, how well the material map agrees with the truth on invented bodies; see DEVELOPERS.md, "Material map".

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cstdio>
#include <ctime>
#include <exception>
#include <filesystem>
#include <fstream>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "imaging/intake.h"
#include "phantom_data/phantom.h"
#include "segment/confidence.h"
#include "support/drawn_body.h"
#include "support/map_picture.h"
#include "support/map_score.h"

namespace {

using namespace leastharm;
using segment_detail::ConfidenceTable;
using segment_detail::kCrowdSteps;
using segment_detail::kMarginSteps;
using segment_detail::kWaySteps;
using segment_detail::segment_with;
namespace fs = std::filesystem;

struct Wish {
  std::vector<std::string> bodies;
  std::vector<double> spacing_mm;
  std::vector<fs::path> scans;
  double noise_hu = -1, coarser = 1;
  std::uint64_t seed = 1;
  unsigned drawn = 0, first_drawn = 1;
  fs::path pictures, keep;
  bool findings = false, calibrate = false, confusion = false;
};

struct Body {
  std::string name;
  Volume<std::int16_t> hu;
  std::optional<Volume<std::uint8_t>> truth;
  BodyFrame frame;
};

Body invented(const std::string& name, const Wish& wish) {
  phantom::PhantomOptions options{.seed = wish.seed};
  if (wish.noise_hu >= 0) options.noise_hu = wish.noise_hu;
  if (wish.spacing_mm.size() == 3) options.spacing_mm = Vec3(wish.spacing_mm[0], wish.spacing_mm[1], wish.spacing_mm[2]);
  phantom::Phantom made = phantom::make_phantom(name, options);
  return {name, std::move(made.hu), std::move(made.truth), made.frame};
}

Body drawn(unsigned seed, const Wish& wish) {
  test::DrawnBody made = test::drawn_body(seed, wish.coarser);
  return {"drawn " + std::to_string(seed) + ": " + made.what, std::move(made.hu), std::move(made.truth), made.frame};
}

/// Bytes as they lie in memory: for this machine alone.
template <typename T>
void put(std::ofstream& file, const T* data, std::size_t count) { file.write(reinterpret_cast<const char*>(data), static_cast<std::streamsize>(count * sizeof(T))); }
template <typename T>
void get(std::ifstream& file, T* data, std::size_t count) { file.read(reinterpret_cast<char*>(data), static_cast<std::streamsize>(count * sizeof(T))); }

std::optional<Body> kept(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) return {};
  Body body;
  std::getline(file, body.name);
  Grid grid;
  get(file, grid.size.data(), 3);
  get(file, grid.spacing_mm.data(), 3);
  get(file, grid.origin_lps_mm.data(), 3);
  get(file, grid.direction.data(), 9);
  get(file, body.frame.head.data(), 3);
  get(file, body.frame.front.data(), 3);
  body.hu = {grid, std::vector<std::int16_t>(grid.voxel_count())};
  body.truth = Volume<std::uint8_t>{grid, std::vector<std::uint8_t>(grid.voxel_count())};
  get(file, body.hu.values.data(), body.hu.values.size());
  get(file, body.truth->values.data(), body.truth->values.size());
  return body;
}

void keep(const fs::path& path, const Body& body) {
  fs::create_directories(path.parent_path());
  std::ofstream file(path, std::ios::binary);
  const Grid& grid = body.hu.grid;
  file << body.name << '\n';
  put(file, grid.size.data(), 3);
  put(file, grid.spacing_mm.data(), 3);
  put(file, grid.origin_lps_mm.data(), 3);
  put(file, grid.direction.data(), 9);
  put(file, body.frame.head.data(), 3);
  put(file, body.frame.front.data(), 3);
  put(file, body.hu.values.data(), body.hu.values.size());
  put(file, body.truth->values.data(), body.truth->values.size());
}

/// Makes a body, or takes the one kept from an earlier run with the same wish.
template <typename Make>
Body made_or_kept(const std::string& name, const Wish& wish, const Make& make) {
  if (wish.keep.empty()) return make();
  const fs::path path = wish.keep / (name + ".body");
  if (auto body = kept(path)) return std::move(*body);
  Body body = make();
  keep(path, body);
  return body;
}

/// The sums over all bodies: for each material its Dice, lowest first.
struct Summary {
  PerMaterial<std::vector<double>> dice;
  test::Calibration calibration;

  void print() const {
    std::printf("\n| over all bodies | lowest | lowest tenth | median | below 0.90 |\n|---|---|---|---|---|\n");
    for (std::size_t m = 1; m < kMaterialCount; ++m) {
      std::vector<double> d = dice[m];
      if (d.empty()) continue;
      std::sort(d.begin(), d.end());
      std::printf("| %s | %.3f | %.3f | %.3f | %d of %zu |\n", std::string(kMaterialNames[m]).c_str(), d.front(), d[d.size() / 10], d[d.size() / 2],
                  static_cast<int>(std::lower_bound(d.begin(), d.end(), 0.9) - d.begin()), d.size());
    }
    std::printf("\n| confidence given | share right | share of voxels |\n|---|---|---|\n");
    double all = 0;
    for (const double n : calibration.voxels) all += n;
    for (std::size_t s = 0; s < calibration.voxels.size(); ++s)
      if (calibration.voxels[s] > 0)
        std::printf("| %.2f | %.2f | %.3f %% |\n", calibration.mean_confidence(s), calibration.share_right(s), 100 * calibration.voxels[s] / all);
  }
};

void print_head() {
  std::printf("| body | Mvoxel |");
  for (std::size_t m = 1; m < kMaterialCount; ++m) std::printf(" %s |", std::string(kMaterialNames[m]).c_str());
  std::printf(" calibration off by | head, front off by ° (certainty) | CPU ns/voxel |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n");
}

void print_row(const Body& body, const Segmentation& map, double cpu_s, Summary& summary) {
  std::printf("| %s | %.1f |", body.name.c_str(), static_cast<double>(body.hu.values.size()) / 1e6);
  const test::Overlap overlap = test::overlap(map.materials, *body.truth);
  const PerMaterial<double> faces = test::faces(*body.truth);
  for (std::size_t m = 1; m < kMaterialCount; ++m) {
    if (overlap.truth[m] > 0) {
      std::printf(" %.3f (%.2f) |", overlap.dice(m), test::border_error_voxels(overlap, faces, m));
      summary.dice[m].push_back(overlap.dice(m));
    } else if (overlap.map[m] > 0) {
      std::printf(" none, map %.2f %% |", 100 * overlap.map[m] / overlap.object());
    } else {
      std::printf(" – |");
    }
  }
  test::Calibration own;
  own.add(map, body.hu, *body.truth);
  summary.calibration.add(map, body.hu, *body.truth);
  std::printf(" %.2f | %.0f, %.0f (%.2f) | %.0f |\n", own.furthest_off(), test::angle_deg(map.proposed_frame.head, body.frame.head),
              test::angle_deg(map.proposed_frame.front, body.frame.front), map.proposed_frame.certainty,
              1e9 * cpu_s / static_cast<double>(body.hu.values.size()));
  std::fflush(stdout);
}

/// Whether a voxel's truth differs from that of a neighbour by a face.
bool at_border(const Volume<std::uint8_t>& truth, std::size_t v, const std::array<int, 3>& at) {
  const auto& n = truth.grid.size;
  const std::array<std::size_t, 3> stride{1, static_cast<std::size_t>(n[0]), static_cast<std::size_t>(n[0]) * static_cast<std::size_t>(n[1])};
  for (std::size_t a = 0; a < 3; ++a)
    if ((at[a] > 0 && truth.values[v - stride[a]] != truth.values[v]) || (at[a] + 1 < n[a] && truth.values[v + stride[a]] != truth.values[v])) return true;
  return false;
}

/// What each material of the truth became, as a share of it, and in brackets how much of that lies away from all borders.
void print_confusion(const Body& body, const Segmentation& map) {
  PerMaterial<PerMaterial<double>> counts{}, inner{};
  PerMaterial<double> all{};
  std::size_t v = 0;
  const auto& n = body.hu.grid.size;
  for (int k = 0; k < n[2]; ++k)
    for (int j = 0; j < n[1]; ++j)
      for (int i = 0; i < n[0]; ++i, ++v) {
        const std::uint8_t t = body.truth->values[v], m = map.materials.values[v];
        ++counts[t][m], ++all[t];
        if (t != m && !at_border(*body.truth, v, {i, j, k})) ++inner[t][m];
      }
  for (std::size_t t = 0; t < kMaterialCount; ++t) {
    if (all[t] == 0) continue;
    std::printf("    %-9s", std::string(kMaterialNames[t]).c_str());
    for (std::size_t m = 0; m < kMaterialCount; ++m)
      if (counts[t][m] > 0) std::printf(t == m ? "  %s %.2f" : "  %s %.2f (%.2f)", std::string(kMaterialNames[m]).c_str(), 100 * counts[t][m] / all[t], 100 * inner[t][m] / all[t]);
    std::printf("\n");
  }
}

/// Counts, for each of the confidence table's cells, its voxels and those that are right.
class Counter {
 public:
  void add(const Body& body) {
    // Cells are numbered in two bytes, so that two maps tell each voxel's own.
    const auto low = segment_with(body.hu, numbered([](std::size_t cell) { return cell & 255; }), 0);
    const auto high = segment_with(body.hu, numbered([](std::size_t cell) { return cell >> 8; }), 0);
    const double weight = 1e6 / static_cast<double>(body.hu.values.size());   // each body counts the same
    for (std::size_t v = 0; v < body.hu.values.size(); ++v) {
      if (body.hu.values[v] == kNoReadingHu) continue;
      const std::size_t cell = low.confidence.values[v] + 256U * high.confidence.values[v];
      voxels_[cell] += weight;
      if (low.materials.values[v] == body.truth->values[v]) right_[cell] += weight;
    }
  }
  void print() const {
    std::printf("      {{");
    for (std::size_t m = 0; m < kMaterialCount; ++m) print_row(m * kMarginSteps, kMarginSteps, 0.6, "{", m + 1 == kMaterialCount ? "}}},\n" : "},\n        ");
    std::printf("      {{");
    for (std::size_t m = 0; m < kMaterialCount; ++m) {
      std::printf("%s      // %s; beyond it air, wrapping, ...\n", m == 0 ? "\n" : "", std::string(kMaterialNames[m]).c_str());
      for (std::size_t b = 0; b < kMaterialCount; ++b) {
        std::printf("      %s", b == 0 ? "{{{{" : "{{");
        for (std::size_t c = 0; c < kCrowdSteps; ++c) {
          print_row(border_cell(m, b, c), kWaySteps, -1, "{", c + 1 == kCrowdSteps ? "}" : "}, ");
        }
        std::printf("%s\n", b + 1 < kMaterialCount ? "}}," : m + 1 < kMaterialCount ? "}}}}," : "}}}}}},");
      }
    }
  }

 private:
  static constexpr double kPrior = 20;   // voxels, where little was counted: right as often as with any material beyond

  static std::size_t border_cell(std::size_t m, std::size_t b, std::size_t c) {
    return kMaterialCount * kMarginSteps + ((m * kMaterialCount + b) * kCrowdSteps + c) * kWaySteps;
  }
  template <typename Byte>
  static ConfidenceTable numbered(const Byte& byte) {
    ConfidenceTable table;
    for (std::size_t m = 0; m < kMaterialCount; ++m) {
      for (std::size_t s = 0; s < kMarginSteps; ++s) table.amid[m][s] = static_cast<std::uint8_t>(byte(m * kMarginSteps + s));
      for (std::size_t b = 0; b < kMaterialCount; ++b)
        for (std::size_t c = 0; c < kCrowdSteps; ++c)
          for (std::size_t w = 0; w < kWaySteps; ++w) table.border[m][b][c][w] = static_cast<std::uint8_t>(byte(border_cell(m, b, c) + w));
    }
    return table;
  }
  /// The share right of some cells; where few were counted they lean to `usual`, or to the mean of their row.
  void print_row(std::size_t first, std::size_t cells, double usual, const char* before, const char* after) const {
    double voxels = 1, right = 0.6;
    for (std::size_t c = first; c < first + cells; ++c) voxels += voxels_[c], right += right_[c];
    if (usual < 0) usual = right / voxels;
    for (std::size_t c = first; c < first + cells; ++c)
      std::printf("%s%d", c == first ? before : ", ", static_cast<int>(255 * (right_[c] + usual * kPrior) / (voxels_[c] + kPrior)));
    std::printf("%s", after);
  }

  std::array<double, 65536> voxels_{}, right_{};
};

std::string file_name(const std::string& name) { return name.substr(0, name.find(':')) + ".png"; }

void take(const Body& body, const Wish& wish, Summary& summary) {
  const std::clock_t start = std::clock();
  const Segmentation map = segment(body.hu);
  const double cpu_s = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  if (body.truth) print_row(body, map, cpu_s, summary);
  if (wish.confusion && body.truth) print_confusion(body, map);
  if (wish.findings)
    for (const Finding& f : map.findings) std::printf("    %s\n", f.what.c_str());
  if (!body.truth) {
    std::printf("%s: %.0f CPU ns/voxel, frame certainty %.2f;", body.name.c_str(), 1e9 * cpu_s / static_cast<double>(body.hu.values.size()), map.proposed_frame.certainty);
    for (std::size_t m = 1; m < kMaterialCount; ++m) std::printf(" %s %.3f l", std::string(kMaterialNames[m]).c_str(), map.volume_mm3[m] * 1e-6);
    std::printf("\n");
  }
  if (wish.pictures.empty()) return;
  fs::create_directories(wish.pictures);
  test::write_map_picture(wish.pictures / file_name(body.name), body.name, body.hu, map, body.truth ? &*body.truth : nullptr);
}

void run(const Wish& wish) {
  Summary summary;
  const auto counter = std::make_unique<Counter>();
  const auto use = [&](const Body& body) { wish.calibrate ? counter->add(body) : take(body, wish, summary); };
  for (const fs::path& path : wish.scans) take({path.filename().string(), read_ct(path).hu, {}, {}}, wish, summary);
  std::vector<std::string> names = wish.bodies;
  if (names.empty() && wish.drawn == 0 && wish.scans.empty()) names = phantom::scenario_names();
  if (names.empty() && wish.drawn == 0) return;
  if (!wish.calibrate) print_head();
  for (const std::string& name : names) use(made_or_kept(name, wish, [&] { return invented(name, wish); }));
  for (unsigned n = 0; n < wish.drawn; ++n) use(made_or_kept("drawn " + std::to_string(wish.first_drawn + n), wish, [&] { return drawn(wish.first_drawn + n, wish); }));
  wish.calibrate ? counter->print() : summary.print();
}

}  // namespace

int main(int count, char** words) {
  CLI::App app("How well the material map agrees with the truth on invented bodies");
  Wish wish;
  app.add_option("bodies", wish.bodies, "Of phantom_data; all where none is named");
  app.add_option("--drawn", wish.drawn, "This many bodies drawn at random instead");
  app.add_option("--from", wish.first_drawn, "Number of the first drawn body");
  app.add_option("--coarser", wish.coarser, "Wider voxels of the drawn bodies, a factor");
  app.add_option("--seed", wish.seed, "Of the bodies of phantom_data");
  app.add_option("--noise", wish.noise_hu, "Standard deviation, HU");
  app.add_option("--spacing", wish.spacing_mm, "Voxel size X,Y,Z in mm")->delimiter(',')->expected(3);
  app.add_option("--ct", wish.scans, "A real scan: its volumes are told, and its picture drawn");
  app.add_option("--pictures", wish.pictures, "Folder for a picture of each body and its map");
  app.add_option("--keep", wish.keep, "Folder that keeps the bodies for later runs with the same options");
  app.add_flag("--calibrate", wish.calibrate, "Print the table of src/segment/confidence_table.cpp, counted on these bodies");
  app.add_flag("--confusion", wish.confusion, "What each material of the truth is in the map, % of it; in brackets the part away from borders");
  app.add_flag("--findings", wish.findings, "What the map's findings say");
  CLI11_PARSE(app, count, words);
  try {
    run(wish);
  } catch (const std::exception& problem) {
    std::fprintf(stderr, "%s\n", problem.what());
    return 2;
  }
  return 0;
}
