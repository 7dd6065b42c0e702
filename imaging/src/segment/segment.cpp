#include "imaging/segmentation.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

#include "../roomy_values.h"
#include "bone_rim.h"
#include "classes.h"
#include "coarse.h"
#include "confidence.h"
#include "cut_slabs.h"
#include "denoise.h"
#include "dense.h"
#include "enclosed.h"
#include "envelope.h"
#include "fibre.h"
#include "frame.h"
#include "imaging/error.h"
#include "living.h"
#include "measure.h"
#include "mineral.h"
#include "parallel.h"
#include "regions.h"
#include "resin.h"
#include "sides.h"
#include "skin.h"
#include "slabs.h"
#include "statistics.h"
#include "thresholds.h"

namespace leastharm {

using namespace segment_detail;

namespace {

constexpr double kWidestMarrow_mm = 22, kMarrowShare = 0.26;   ///< bone to bone; at most this share of the body's half thickness
constexpr double kWidestSpongy_mm = 46, kSpongyShare = 0.55;
constexpr int kSpongyOverLiving = 10;   ///< levels: 160 HU

/// Living tissue is even, so that spongy bone stands out from it; dried tissue reaches further up.
void take_as_living(Thresholds& thresholds) {
  thresholds.fat = true;
  thresholds.mineral = std::min(thresholds.mineral, thresholds.tissue_peak + kSpongyOverLiving);
}

Thresholds thresholds_for(const LevelCounts& counts) {
  Thresholds thresholds;
  thresholds.tissue_peak = tissue_peak(counts);
  thresholds.tissue = tissue_threshold(counts);
  thresholds.mineral = mineral_threshold(counts);
  if (holds_fat(counts)) take_as_living(thresholds);
  return thresholds;
}

std::vector<Side> sides_of(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& support,
                           int threads) {
  constexpr int kWallShare = 50, kPureAirShare = 26;   // of 255
  std::vector<std::uint8_t> wall(coarse.count()), air(coarse.count());
  for (std::size_t v = 0; v < wall.size(); ++v) {
    wall[v] = shares.tissue[v] > kWallShare && !support[v];
    air[v] = shares.matter[v] < kPureAirShare;
  }
  return envelope_sides(coarse, wall, air, support, threads);
}

/// Blocks of the body: what the envelope holds, and its wall.
std::vector<std::uint8_t> body_of(const std::vector<Side>& sides) {
  std::vector<std::uint8_t> body(sides.size());
  for (std::size_t v = 0; v < sides.size(); ++v) body[v] = sides[v] != Side::outside;
  return body;
}

/// The least level of spongy bone: beyond what tissue's own unevenness reaches.
int spongy_level(const TissueTexture& texture, const Thresholds& thresholds) {
  constexpr double kLeastOver_hu = 40;
  const double tissue = texture.typical_hu > 0 ? texture.tissue_hu : hu_of(thresholds.tissue_peak);
  return level_of(static_cast<int>(std::lround(tissue + std::max(kLeastOver_hu, 2 * texture.spread_hu))));
}

/// From the working codes to labels: loose fibre is packing inside, wrapping outside.
void finish_labels(int threads, Volume<std::uint8_t>& codes) {
  std::array<std::uint8_t, 256> table{};
  for (std::size_t c = 0; c < table.size(); ++c) {
    const std::uint8_t material = c & code::kMaterial;
    table[c] = material == label(Material::wrapping) && (c & code::kInside) ? label(Material::packing) : material;
  }
  change_codes(threads, [&](std::uint8_t c) { return table[c]; }, codes);
}

void note(Segmentation& map, std::string what) { map.findings.push_back({Level::note, std::move(what)}); }

void check_volume(const Volume<std::int16_t>& hu) {
  for (const int n : hu.grid.size)
    if (n < 1) throw BadInput("The volume is empty: give a CT of at least one voxel along each axis.");
  if (hu.values.size() != hu.grid.voxel_count())
    throw BadInput("The volume holds " + std::to_string(hu.values.size()) + " values for " +
                   std::to_string(hu.grid.voxel_count()) + " voxels: read it again.");
}

}  // namespace

Segmentation segment(const Volume<std::int16_t>& hu, int threads) {
  return segment_detail::segment_with(hu, confidence_table(), threads);
}

Segmentation segment_detail::segment_with(const Volume<std::int16_t>& hu, const ConfidenceTable& confidences, int threads) {
  check_volume(hu);
  const int workers = worker_count(threads);
  Segmentation out;
  const Readings readings = measure_readings(hu, workers);
  out.air_check_hu = readings.air_hu;
  out.noise_hu = readings.noise_hu;
  out.confidence = denoised_levels(hu, readings, workers);   // levels first; confidence takes their place
  Volume<std::uint8_t>& levels = out.confidence;
  Volume<std::uint8_t>& codes = out.materials;
  codes = {hu.grid, roomy_values<std::uint8_t>(hu.values.size())};

  const LevelCounts counts = count_levels(levels, workers);
  Thresholds thresholds = thresholds_for(counts);
  const std::int64_t tissue_voxels = std::accumulate(counts.begin() + thresholds.tissue, counts.end(), std::int64_t{0});
  const Coarse coarse = coarse_grid(hu.grid, static_cast<double>(tissue_voxels) * hu.grid.voxel_volume_mm3());
  const Shares shares = shares_of(hu, readings.air_hu, levels, coarse, thresholds, workers);
  if (!thresholds.fat && fat_under_skin(coarse, shares, workers)) take_as_living(thresholds);
  std::vector<Slab> slabs;
  std::vector<Side> sides;
  double half_mm = 0;
  TissueTexture texture;
  side_by_side(
      workers,
      [&] {
        slabs = find_slabs(levels, coarse, shares, find_cut_slabs(hu, levels, coarse, thresholds), workers);
        sides = sides_of(coarse, shares, blocks_of(slabs, hu.grid, coarse), workers);
        half_mm = half_thickness_mm(coarse, body_of(sides), workers);
      },
      [&] {
        texture = tissue_texture(coarse, shares, readings.noise_hu);
        classify(levels, thresholds, readings.noise_hu, workers, codes);
      });
  flag_sides(coarse, sides, workers, codes);
  mark_slabs(slabs, coarse, levels, label(Material::support), codes);
  const bool wrapped = settle_skin(thresholds.fat, workers, codes);
  settle_fibre(levels, thresholds, workers, codes);
  drop_false_fibre(levels, thresholds, wrapped, workers, codes);
  if (!thresholds.fat) find_mineral_packing(levels, coarse, shares, half_mm, readings.noise_hu, workers, codes);
  find_dense(levels, counts, workers, codes);
  const double spongy_mm = std::min(kWidestSpongy_mm, kSpongyShare * half_mm);
  fill_bone(levels, thresholds,
            {{spongy_mm, spongy_level(texture, thresholds)},
             {spongy_mm, 0, true},
             {std::min(kWidestMarrow_mm, kMarrowShare * half_mm), 0}},
            workers, codes);
  trim_bone(levels, thresholds, workers, codes);
  if (!thresholds.fat) find_resin(levels, coarse, shares, texture, sides, half_mm, workers, codes);
  finish_labels(workers, codes);
  side_by_side(
      workers, [&] { out.proposed_frame = propose_frame(codes, workers); },
      [&] {
        levels_to_confidence(hu, codes, thresholds, confidences, workers, out.confidence);
        count_materials(hu, out, workers);
      });
  if (out.volume_mm3[label(Material::air)] >= 0.9999 * hu.grid.voxel_volume_mm3() * static_cast<double>(hu.values.size()))
    throw BadInput("The volume holds nothing but air: choose the series that shows the object.");
  if (!readings.air_found) note(out, "No room air was found: HU are taken as they stand.");
  if (thresholds.fat)
    note(out, "Fat and lean tissue part as in a living body: what is light inside it counts as lung, that is air; what is light around it as support.");
  if (out.volume_mm3[label(Material::resin)] > 0)
    note(out, "Resin was told from tissue by its evenness alone: HU at one energy cannot tell resin, bitumen, wax and tissue apart.");
  report_findings(out);
  return out;
}

Segmentation describe_materials(const Volume<std::int16_t>& hu, Volume<std::uint8_t> materials) {
  check_volume(hu);
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
  out.proposed_frame = propose_frame(out.materials, workers);
  report_findings(out);
  return out;
}

}  // namespace leastharm
