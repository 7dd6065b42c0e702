#include "confidence.h"

#include <algorithm>
#include <vector>

#include "measure.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

/// The levels between which a material's HU lie.
struct Range {
  int low = 0, high = 255;
};

Range range_of(Material material, const Thresholds& t) {
  switch (material) {
    case Material::air: return {-100, t.fibre};
    case Material::wrapping:
    case Material::packing: return {t.fibre, t.tissue};
    case Material::body:
    case Material::resin: return {t.tissue, t.mineral};
    case Material::bone: return {t.mineral, 355};
    case Material::dense: return {t.mineral, 355};
    case Material::support: return {t.fibre, t.tissue};
  }
  return {};
}

using Lookup = std::array<std::array<std::array<std::uint8_t, 256>, kBorderSteps>, kMaterialCount>;

Lookup lookup_for(const Thresholds& thresholds, const ConfidenceTable& table) {
  Lookup lookup{};
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    for (std::size_t b = 0; b < kBorderSteps; ++b)
      for (int level = 0; level < 256; ++level)
        lookup[m][b][static_cast<std::size_t>(level)] =
            table[m][b][static_cast<std::size_t>(margin_step(static_cast<Material>(m), level, thresholds))];
  return lookup;
}

void count_differing(const std::uint8_t* here, const std::uint8_t* there, int width, std::uint8_t* counts) {
  for (int i = 0; i < width; ++i) counts[i] = static_cast<std::uint8_t>(counts[i] + (here[i] != there[i] ? 1 : 0));
}

}  // namespace

int margin_step(Material material, int level, const Thresholds& thresholds) {
  const Range range = range_of(material, thresholds);
  const int inside = std::min(level - range.low, range.high - 1 - level);
  return inside < 0 ? 0 : inside < 3 ? 1 : inside < 6 ? 2 : inside < 12 ? 3 : 4;
}

void levels_to_confidence(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials,
                          const Thresholds& thresholds, const ConfidenceTable& table, int threads,
                          Volume<std::uint8_t>& levels) {
  const Lookup lookup = lookup_for(thresholds, table);
  const auto& n = levels.grid.size;
  for_chunks(n[2], 2, threads, [&](int, int first, int last) {
    std::vector<std::uint8_t> counts(static_cast<std::size_t>(n[0]));
    for (int k = first; k < last; ++k)
      for (int j = 0; j < n[1]; ++j) {
        const std::size_t at = levels.grid.offset(0, j, k);
        const auto row = [&](int jj, int kk) { return materials.values.data() + levels.grid.offset(0, jj, kk); };
        const std::uint8_t* here = row(j, k);
        std::fill(counts.begin(), counts.end(), std::uint8_t{0});
        count_differing(here + 1, here, n[0] - 1, counts.data() + 1);
        count_differing(here, here + 1, n[0] - 1, counts.data());
        if (j > 0) count_differing(here, row(j - 1, k), n[0], counts.data());
        if (j + 1 < n[1]) count_differing(here, row(j + 1, k), n[0], counts.data());
        if (k > 0) count_differing(here, row(j, k - 1), n[0], counts.data());
        if (k + 1 < n[2]) count_differing(here, row(j, k + 1), n[0], counts.data());
        for (int i = 0; i < n[0]; ++i) {
          const std::size_t v = at + static_cast<std::size_t>(i);
          const auto b = static_cast<std::size_t>(std::min<int>(counts[static_cast<std::size_t>(i)], kBorderSteps - 1));
          levels.values[v] = hu.values[v] < kLowestReadingHu ? 0 : lookup[here[i]][b][levels.values[v]];
        }
      }
  });
}

}  // namespace leastharm::segment_detail
