#include "confidence.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "eight.h"
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

std::size_t margin_step(Material material, int level, const Thresholds& thresholds) {
  const Range range = range_of(material, thresholds);
  const int inside = std::min(level - range.low, range.high - 1 - level);
  return inside < 0 ? 0 : inside < 3 ? 1 : inside < 6 ? 2 : inside < 12 ? 3 : 4;
}

std::size_t way_step(double way) {
  return way < 0.3 ? 0 : way < 0.5 ? 1 : way < 0.65 ? 2 : way < 0.8 ? 3 : way < 0.95 ? 4 : 5;
}

using ByLevel = std::array<std::uint8_t, 256>;

/// The confidence of each level, for what else is known of a voxel.
struct Lookup {
  PerMaterial<ByLevel> amid{};
  PerMaterial<PerMaterial<std::array<ByLevel, kCrowdSteps>>> border{};
};

/// The mean level of each material where a row holds it on both sides; half way into its range where it is nowhere so.
PerMaterial<double> usual_levels(const Volume<std::uint8_t>& levels, const Volume<std::uint8_t>& materials,
                                 const Thresholds& thresholds, int threads) {
  const auto& n = levels.grid.size;
  std::vector<PerMaterial<std::array<std::int64_t, 2>>> parts(static_cast<std::size_t>(n[2]));
  for_chunks(n[2], 1, threads, [&](int k, int, int) {
    for (int j = k % 3; j < n[1]; j += 3) {
      const std::size_t row = levels.grid.offset(0, j, k);
      for (std::size_t v = row + 1; v + 1 < row + static_cast<std::size_t>(n[0]); ++v) {
        const std::uint8_t m = materials.values[v];
        const bool amid = materials.values[v - 1] == m && materials.values[v + 1] == m;
        auto& sum = parts[static_cast<std::size_t>(k)][m];
        sum[0] += amid, sum[1] += amid ? levels.values[v] : 0;
      }
    }
  });
  PerMaterial<double> usual{};
  for (std::size_t m = 0; m < kMaterialCount; ++m) {
    std::array<std::int64_t, 2> all{};
    for (const auto& part : parts) all[0] += part[m][0], all[1] += part[m][1];
    const Range range = range_of(static_cast<Material>(m), thresholds);
    usual[m] = all[0] > 0 ? static_cast<double>(all[1]) / static_cast<double>(all[0]) : 0.5 * (std::max(0, range.low) + std::min(255, range.high));
  }
  return usual;
}

Lookup lookup_for(const Thresholds& thresholds, const PerMaterial<double>& usual, const ConfidenceTable& table) {
  constexpr double kAlike = 4;   // levels: HU say nothing about such a border
  Lookup lookup;
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    for (std::size_t level = 0; level < 256; ++level) {
      const auto here = static_cast<int>(level);
      lookup.amid[m][level] = table.amid[m][margin_step(static_cast<Material>(m), here, thresholds)];
      for (std::size_t b = 0; b < kMaterialCount; ++b) {
        const double way = usual[m] - usual[b];
        const std::size_t step = std::abs(way) < kAlike ? 0 : way_step((here - usual[b]) / way);
        for (std::size_t c = 0; c < kCrowdSteps; ++c) lookup.border[m][b][c][level] = table.border[m][b][c][step];
      }
    }
  return lookup;
}

void count_differing(const std::uint8_t* here, const std::uint8_t* there, int width, std::uint8_t* counts) {
  for (int i = 0; i < width; ++i) counts[i] = static_cast<std::uint8_t>(counts[i] + (here[i] != there[i] ? 1 : 0));
}

/// The material that most of a voxel's six neighbours hold, its own left out; of equals the first.
class Beyond {
 public:
  explicit Beyond(const Volume<std::uint8_t>& materials)
      : materials_(materials), stride_(materials.grid.strides()) {}

  [[nodiscard]] std::size_t of(const std::array<int, 3>& at) const {
    const std::uint8_t* v = materials_.values.data() + materials_.grid.offset(at[0], at[1], at[2]);
    PerMaterial<int> counts{};
    for (std::size_t a = 0; a < 3; ++a) {
      if (at[a] > 0) ++counts[v[-stride_[a]]];
      if (at[a] + 1 < materials_.grid.size[a]) ++counts[v[stride_[a]]];
    }
    counts[*v] = -1;
    return static_cast<std::size_t>(std::max_element(counts.begin(), counts.end()) - counts.begin());
  }

 private:
  const Volume<std::uint8_t>& materials_;
  std::array<std::ptrdiff_t, 3> stride_;
};

}  // namespace

void levels_to_confidence(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials,
                          const Thresholds& thresholds, const ConfidenceTable& table, int threads,
                          Volume<std::uint8_t>& levels) {
  const Lookup lookup = lookup_for(thresholds, usual_levels(levels, materials, thresholds, threads), table);
  const Beyond beyond(materials);
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
          if (i + 8 <= n[0] && eight_at(&counts[static_cast<std::size_t>(i)]) == 0) {   // amid one material
            const ByLevel& known = lookup.amid[here[i]];
            for (std::size_t w = v; w < v + 8; ++w) levels.values[w] = hu.values[w] < kLowestReadingHu ? 0 : known[levels.values[w]];
            i += 7;
            continue;
          }
          const std::uint8_t crowd = counts[static_cast<std::size_t>(i)];
          const ByLevel& known = crowd == 0 ? lookup.amid[here[i]] : lookup.border[here[i]][beyond.of({i, j, k})][(crowd - 1U) / 2];
          levels.values[v] = hu.values[v] < kLowestReadingHu ? 0 : known[levels.values[v]];
        }
      }
  });
}

}  // namespace leastharm::segment_detail
