#include "imaging/segmentation.h"

#include "coarse.h"
#include "denoise.h"
#include "envelope.h"
#include "imaging/error.h"
#include "measure.h"
#include "parallel.h"
#include "statistics.h"

namespace leastharm {

using namespace segment_detail;

Segmentation segment(const Volume<std::int16_t>& hu, int threads) {
  const int workers = worker_count(threads);
  const Readings readings = measure_readings(hu, workers);
  Segmentation out;
  Volume<std::uint8_t> levels = denoised_levels(hu, readings, workers);
  const Coarse coarse = coarse_grid(hu.grid);
  const Thresholds thresholds;
  const Shares shares = shares_of(levels, coarse, thresholds, workers);
  std::vector<std::uint8_t> wall(coarse.count()), air(coarse.count());
  for (std::size_t v = 0; v < wall.size(); ++v) wall[v] = shares.tissue[v] > 50, air[v] = shares.matter[v] < 26;
  const std::vector<std::uint8_t> inside = inside_envelope(coarse, wall, air, workers);
  out.materials = {hu.grid, std::vector<std::uint8_t>(hu.values.size())};
  out.confidence = {hu.grid, std::vector<std::uint8_t>(hu.values.size(), 128)};
  std::size_t at = 0;
  for (int k = 0; k < hu.grid.size[2]; ++k)
    for (int j = 0; j < hu.grid.size[1]; ++j)
      for (int i = 0; i < hu.grid.size[0]; ++i, ++at) {
        const int v = levels.values[at];
        Material m = Material::air;
        if (v >= thresholds.metal) m = Material::dense;
        else if (v >= thresholds.mineral) m = Material::bone;
        else if (v >= thresholds.tissue) m = Material::body;
        else if (v >= thresholds.fibre)
          m = inside[coarse.offset(i / coarse.factor[0], j / coarse.factor[1], k / coarse.factor[2])] ? Material::packing : Material::wrapping;
        out.materials.values[at] = static_cast<std::uint8_t>(m);
      }
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
