#include "statistics.h"

#include <cstdint>
#include <string>
#include <vector>

#include "measure.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

struct Tally {
  PerMaterial<std::int64_t> voxels{}, read{}, sum_hu{};
  std::int64_t room_voxels = 0, room_sum_hu = 0;
};

/// Air far enough from everything else to be even: a voxel whose row neighbours up to 4 away are air too.
bool deep_air(const std::uint8_t* row, int i, int width) {
  for (int n = std::max(0, i - 4); n <= std::min(width - 1, i + 4); ++n)
    if (row[n] != 0) return false;
  return true;
}

std::vector<Tally> tally_slices(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials, int threads) {
  const auto& n = hu.grid.size;
  std::vector<Tally> tallies(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    Tally tally;
    for (int j = 0; j < n[1]; ++j) {
      const std::size_t start = hu.grid.offset(0, j, k);
      const std::uint8_t* row = materials.values.data() + start;
      const bool sampled = (j % 4) == 0;
      for (int i = 0; i < n[0]; ++i) {
        const std::uint8_t m = row[i];
        const int value = hu.values[start + static_cast<std::size_t>(i)];
        ++tally.voxels[m];
        if (value < kLowestReadingHu) continue;
        ++tally.read[m];
        tally.sum_hu[m] += value;
        if (sampled && m == 0 && i % 4 == 0 && deep_air(row, i, n[0])) ++tally.room_voxels, tally.room_sum_hu += value;
      }
    }
    tallies[static_cast<std::size_t>(k)] = tally;
  });
  return tallies;
}

}  // namespace

void count_materials(const Volume<std::int16_t>& hu, Segmentation& map, int threads) {
  Tally all;
  for (const Tally& slice : tally_slices(hu, map.materials, threads)) {
    for (std::size_t m = 0; m < kMaterialCount; ++m) {
      all.voxels[m] += slice.voxels[m];
      all.read[m] += slice.read[m];
      all.sum_hu[m] += slice.sum_hu[m];
    }
    all.room_voxels += slice.room_voxels;
    all.room_sum_hu += slice.room_sum_hu;
  }
  for (std::size_t m = 0; m < kMaterialCount; ++m) {
    map.volume_mm3[m] = static_cast<double>(all.voxels[m]) * hu.grid.voxel_volume_mm3();
    map.mean_hu[m] = all.read[m] ? static_cast<double>(all.sum_hu[m]) / static_cast<double>(all.read[m]) : 0;
  }
  if (all.room_voxels > 0)
    map.air_check_hu = static_cast<double>(all.room_sum_hu) / static_cast<double>(all.room_voxels);
}

void report_findings(Segmentation& map) {
  const auto note = [&](const std::string& what) { map.findings.push_back({Level::note, what}); };
  for (const Material m : {Material::wrapping, Material::body, Material::packing, Material::bone, Material::resin,
                           Material::dense, Material::support})
    if (map.volume_mm3[static_cast<std::size_t>(m)] == 0) note("No " + std::string(name_of(m)) + " was found.");
}

}  // namespace leastharm::segment_detail
