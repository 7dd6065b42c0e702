#include "imaging/segmentation.h"

#include "classes.h"
#include "coarse.h"
#include "denoise.h"
#include "enclosed.h"
#include "envelope.h"
#include "imaging/error.h"
#include "measure.h"
#include "parallel.h"
#include "sides.h"
#include "slabs.h"
#include "thresholds.h"
#include "statistics.h"

namespace leastharm {

using namespace segment_detail;

namespace {

/// Draws the border between air and fibre anew, half way between both, apart for outside and inside.
void settle_fibre(const Volume<std::uint8_t>& levels, const Thresholds& thresholds, Volume<std::uint8_t>& codes) {
  std::array<LevelCounts, 2> counts{};
  for (std::size_t v = 0; v < codes.values.size(); ++v) {
    const std::uint8_t c = codes.values[v];
    if ((c & code::kMaterial) == label(Material::wrapping)) ++counts[(c & code::kInside) ? 1 : 0][levels.values[v]];
  }
  const int outside = std::max(thresholds.fibre, fibre_threshold(counts[0], thresholds.fibre));
  const int inside = std::max(thresholds.fibre, fibre_threshold(counts[1], thresholds.fibre));
  for (std::size_t v = 0; v < codes.values.size(); ++v) {
    std::uint8_t& c = codes.values[v];
    if ((c & code::kMaterial) != label(Material::wrapping)) continue;
    if (levels.values[v] < ((c & code::kInside) ? inside : outside)) c = c & code::kSide;
  }
}

}  // namespace

Segmentation segment(const Volume<std::int16_t>& hu, int threads) {
  const int workers = worker_count(threads);
  const Readings readings = measure_readings(hu, workers);
  Segmentation out;
  Volume<std::uint8_t> levels = denoised_levels(hu, readings, workers);
  const Coarse coarse = coarse_grid(hu.grid);
  Thresholds thresholds;
  const LevelCounts counts = count_levels(levels, workers);
  thresholds.mineral = mineral_threshold(counts);
  thresholds.tissue_peak = tissue_peak(counts);
  const Shares shares = shares_of(levels, coarse, thresholds, workers);
  std::vector<std::uint8_t> wall(coarse.count()), air(coarse.count());
  const std::vector<Slab> slabs = find_slabs(hu.grid, coarse, shares);
  const std::vector<std::uint8_t> support = blocks_of(slabs, hu.grid, coarse);
  for (std::size_t v = 0; v < wall.size(); ++v) wall[v] = shares.tissue[v] > 50 && !support[v], air[v] = shares.matter[v] < 26;
  const std::vector<Side> sides = envelope_sides(coarse, wall, air, workers);
  out.materials = {hu.grid, std::vector<std::uint8_t>(hu.values.size())};
  classify(levels, thresholds, readings.noise_hu, workers, out.materials);
  flag_sides(coarse, sides, workers, out.materials);
  mark_slabs(slabs, coarse, levels, thresholds.fibre, label(Material::support), out.materials);
  settle_fibre(levels, thresholds, out.materials);
  fill_bone(levels, thresholds, 22, workers, out.materials);
  trim_bone(levels, thresholds, workers, out.materials);
  out.confidence = {hu.grid, std::vector<std::uint8_t>(hu.values.size(), 128)};
  for (std::uint8_t& c : out.materials.values) {
    std::uint8_t m = c & code::kMaterial;
    if (m == label(Material::wrapping) && (c & code::kInside)) m = label(Material::packing);
    c = m;
  }
  out.findings.push_back({Level::note, "mineral " + std::to_string(hu_of(thresholds.mineral))});
  for (const Slab& s : slabs) out.findings.push_back({Level::note, "slab axis " + std::to_string(s.axis) + (s.from_end ? "+" : "-") + " depth " + std::to_string(s.depth_mm) + " t " + std::to_string(s.thickness_mm) + " slopes " + std::to_string(s.slope_u) + " " + std::to_string(s.slope_v)});
  out.air_check_hu = readings.air_hu;
  out.noise_hu = readings.noise_hu;
  count_materials(hu, out, workers);
  report_findings(out);
  return out;
}

Segmentation describe_materials(const Volume<std::int16_t>& hu, Volume<std::uint8_t> materials) {
  if (!same_grid(hu.grid, materials.grid))
    throw BadInput("The material map lies on another grid than the CT: resample it onto the CT's grid first.");
  for (const std::uint8_t m : materials.values)
    if (m >= kMaterialCount)
      throw BadInput("The material map holds the value " + std::to_string(m) +
                     ": only 0 (air) to 7 (support) are materials.");
  const int workers = worker_count(0);
  const Readings readings = measure_readings(hu, workers);
  Segmentation out;
  out.confidence = {hu.grid, std::vector<std::uint8_t>(hu.values.size(), 255)};
  out.materials = std::move(materials);
  out.materials.grid = hu.grid;
  out.air_check_hu = readings.air_hu;
  out.noise_hu = readings.noise_hu;
  count_materials(hu, out, workers);
  report_findings(out);
  return out;
}

}  // namespace leastharm
