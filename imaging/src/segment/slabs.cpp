#include "slabs.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include "denoise.h"
#include "parallel.h"
#include "regions.h"
#include "slab_surface.h"
#include "slab_voxels.h"
#include "view.h"

namespace leastharm::segment_detail {
namespace {

constexpr int kSolidHu = -965;            ///< mean of a block that is not just air: foam counts
constexpr double kGap_mm = 8;             ///< air this deep ends a layer
constexpr double kThickest_mm = 120, kThinnest_mm = 1.5;
constexpr double kLeastFaceShare = 0.35;  ///< of what is seen from one end
constexpr double kLeastFreeShare = 0.10;  ///< of the face, that is seen to end in air
constexpr double kLeastBareShare = 0.15;  ///< the same of a curved face, with nothing at all behind
constexpr double kMostSag = 0.22;         ///< a curved face's depth over its width: a body's own shell sags more
constexpr double kMostSmooth = 0.4;       ///< share of a flat face's edge where the surface merely curves on,
constexpr double kCoveringShare = 0.8;    ///< unless the face is nearly all that is seen,
constexpr double kCoveringFree = 0.25;    ///< and this share of it is seen to end in air
constexpr double kMostDense = 0.5;        ///< share of a layer as dense as tissue: a body's side, unless nearly all that is seen
constexpr double kMostCutOff = 0.5;       ///< share of a face that lies at the volume's border: a body that is cut off there is flat too

Column look_behind(const Coarse& coarse, const Shares& shares, const std::vector<std::uint8_t>& peeled,
                   const View& view, int u, int v) {
  const double surface = view.depth[view.cell(u, v)];
  double end = surface, gap = 0;
  int layer = static_cast<int>(surface / view.layer_mm);
  for (; layer < view.layers && gap < kGap_mm; ++layer) {
    const std::size_t block = view.block(coarse, u, v, layer);
    if (peeled[block] || shares.mean_hu[block] <= kSolidHu) {
      gap += view.layer_mm;
      continue;
    }
    const double share = shares.matter[block] / 255.0;
    end = std::max((layer + (share > 0.3 ? share : 1.0)) * view.layer_mm, surface + share * view.layer_mm);
    gap = 0;
    if (end - surface > kThickest_mm) return {};
  }
  if (layer == view.layers && gap < kGap_mm) return {};   // cut off by the volume's far end
  Column column{end - surface, true};
  for (; layer < view.layers; ++layer) {
    const std::size_t block = view.block(coarse, u, v, layer);
    if (!peeled[block] && shares.matter[block] >= 64) column.bare = false;
  }
  return column;
}

std::vector<std::uint8_t> footprint_of(const View& view, const Face& face) {
  const double tolerance = std::max(0.6 * view.layer_mm, 1.2);
  std::vector<std::uint8_t> footprint(view.depth.size());
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u) {
      const double d = view.depth[view.cell(u, v)], f = face.at(view, u, v);
      footprint[view.cell(u, v)] = d != kNothing && f != kNothing && std::abs(d - f) < tolerance;
    }
  return footprint;
}

/// Whether a face is where the volume ends, and not where matter does.
bool cut_off(const View& view, const std::vector<std::uint8_t>& footprint) {
  constexpr double kAtBorder = 0.35;   // of a block's edge
  int cells = 0, cut = 0;
  for (std::size_t c = 0; c < footprint.size(); ++c)
    if (footprint[c]) ++cells, cut += view.depth[c] < kAtBorder * view.layer_mm;
  return cut > kMostCutOff * cells;
}

/// The commonest of some lengths: mean of those within 2 mm of the fullest millimetre, and their number.
struct Common {
  double mm = 0;
  int count = 0;
};
Common commonest(const std::vector<double>& lengths) {
  std::vector<int> counts(static_cast<std::size_t>(kThickest_mm) + 8);
  for (const double l : lengths)
    if (l != kNothing) ++counts[static_cast<std::size_t>(l)];
  int best = 0;
  std::size_t where = 0;
  for (std::size_t b = 1; b + 1 < counts.size(); ++b) {
    const int sum = counts[b - 1] + counts[b] + counts[b + 1];
    if (sum > best) best = sum, where = b;
  }
  Common common;
  for (const double l : lengths)
    if (l != kNothing && std::abs(l - static_cast<double>(where) - 0.5) <= 2) common.mm += l, ++common.count;
  if (common.count > 0) common.mm /= common.count;
  return common;
}

/// The share of a face's edge where the surface goes on, only a little deeper or higher: the flat of a round body.
double smooth_edge(const View& view, const RoughSlab& slab) {
  const double near = 4 * std::max(0.6 * view.layer_mm, 1.2);
  int edge = 0, smooth = 0;
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u) {
      if (!slab.footprint[view.cell(u, v)]) continue;
      constexpr int kSteps[4][2] = {{-1, 0}, {1, 0}, {0, -1}, {0, 1}};
      for (const auto& s : kSteps) {
        const int a = u + s[0], b = v + s[1];
        if (a < 0 || b < 0 || a >= view.columns || b >= view.rows || slab.footprint[view.cell(a, b)]) continue;
        ++edge;
        const double d = view.depth[view.cell(a, b)];
        smooth += d != kNothing && std::abs(d - slab.face.at(view, a, b)) < near;
      }
    }
  return edge == 0 ? 0 : static_cast<double>(smooth) / edge;
}

std::optional<RoughSlab> flat_slab(const View& view, const std::vector<Column>& columns) {
  auto face = flat_face(view);
  if (!face) return std::nullopt;
  RoughSlab slab{std::move(*face), {}, {}};
  slab.footprint = footprint_of(view, slab.face);
  std::vector<double> runs;
  int cells = 0;
  for (std::size_t c = 0; c < columns.size(); ++c)
    if (slab.footprint[c]) ++cells, runs.push_back(columns[c].run_mm);
  const Common common = commonest(runs);
  if (cells < kLeastFaceShare * view.seen() || common.count < kLeastFreeShare * cells || common.mm < kThinnest_mm)
    return std::nullopt;
  const bool covering = cells > kCoveringShare * view.seen() && common.count > kCoveringFree * cells;
  if (!covering && smooth_edge(view, slab) > kMostSmooth) return std::nullopt;
  slab.thickness_mm.assign(static_cast<std::size_t>(view.columns), common.mm);
  return slab;
}

/// Columns without a value take it from their neighbours on both sides, in proportion.
void fill_between(std::vector<double>& values) {
  int last = -1;
  const int n = static_cast<int>(values.size());
  for (int i = 0; i < n; ++i) {
    if (values[static_cast<std::size_t>(i)] == kNothing) continue;
    for (int g = last + 1; last >= 0 && g < i; ++g) {
      const double t = static_cast<double>(g - last) / (i - last);
      values[static_cast<std::size_t>(g)] = (1 - t) * values[static_cast<std::size_t>(last)] + t * values[static_cast<std::size_t>(i)];
    }
    last = i;
  }
}

/// Columns that are much thicker than most reach through to the body that lies on the layer.
void drop_through(std::vector<double>& thickness_mm) {
  constexpr double kThrough = 1.5;
  std::vector<double> known;
  for (const double t : thickness_mm)
    if (t != kNothing) known.push_back(t);
  if (known.empty()) return;
  const double most = kThrough * median(known);
  for (double& t : thickness_mm)
    if (t > most) t = kNothing;
}

/// The depth of a profile over its width.
double sag(const View& view, const Face& face) {
  std::vector<double> depths;
  for (const double d : face.profile_mm)
    if (d != kNothing) depths.push_back(d);
  if (depths.size() < 3) return kNothing;
  const auto [low, high] = std::minmax_element(depths.begin(), depths.end());
  return (*high - *low) / (static_cast<double>(depths.size()) * view.u_mm);
}

std::optional<RoughSlab> drawn_out_slab(const View& view, const std::vector<Column>& columns) {
  auto face = drawn_out_face(view);
  if (!face || sag(view, *face) > kMostSag) return std::nullopt;
  RoughSlab slab{std::move(*face), {}, {}};
  slab.footprint = footprint_of(view, slab.face);
  int cells = 0;
  std::vector<double> bare, covered;
  for (int u = 0; u < view.columns; ++u) {
    std::vector<double> runs;
    for (int v = 0; v < view.rows; ++v) {
      const std::size_t c = view.cell(u, v);
      if (!slab.footprint[c]) continue;
      ++cells;
      if (columns[c].run_mm == kNothing) continue;
      runs.push_back(columns[c].run_mm);
      (columns[c].bare ? bare : covered).push_back(columns[c].run_mm);
    }
    const Common common = commonest(runs);
    slab.thickness_mm.push_back(common.count * 10 >= view.rows ? common.mm : kNothing);
  }
  if (cells < 0.8 * view.seen() || static_cast<double>(bare.size()) < kLeastBareShare * cells) return std::nullopt;
  // A hollow body's own shell is as thick as a chord where nothing lies behind it; a table is as thick as elsewhere.
  if (covered.size() * 10 > bare.size()) {
    const double thin = median(covered), chord = median(bare);
    if (std::max(thin, chord) > 2 * std::min(thin, chord)) return std::nullopt;
  }
  drop_through(slab.thickness_mm);
  fill_between(slab.thickness_mm);
  return slab;
}

/// The share of a layer's matter that is as dense as tissue.
double dense_share(const Coarse& coarse, const Shares& shares, const View& view, const RoughSlab& slab) {
  double matter = 0, tissue = 0;
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u) {
      const double thickness = slab.thickness_mm[static_cast<std::size_t>(u)];
      if (!slab.footprint[view.cell(u, v)] || thickness == kNothing) continue;
      const int first = static_cast<int>(view.depth[view.cell(u, v)] / view.layer_mm);
      const int last = std::min(view.layers - 1, static_cast<int>((view.depth[view.cell(u, v)] + thickness) / view.layer_mm));
      for (int layer = first; layer <= last; ++layer) {
        const std::size_t block = view.block(coarse, u, v, layer);
        matter += shares.matter[block], tissue += shares.tissue[block];
      }
    }
  return matter > 0 ? tissue / matter : 0;
}

/// What one end shows, and how much of it one layer covers.
struct Candidate {
  Slab slab;
  double share = 0;
};

std::optional<Candidate> slab_in(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                                 const std::vector<std::uint8_t>& peeled, const View& view) {
  std::vector<Column> columns(view.depth.size());
  for (int v = 0; v < view.rows; ++v)
    for (int u = 0; u < view.columns; ++u)
      if (view.depth[view.cell(u, v)] != kNothing)
        columns[view.cell(u, v)] = look_behind(coarse, shares, peeled, view, u, v);
  const auto flat = flat_slab(view, columns);
  const auto drawn = flat ? std::nullopt : drawn_out_slab(view, columns);
  if (!flat && !drawn) return std::nullopt;
  const RoughSlab& rough = flat ? *flat : *drawn;
  const auto cells = std::count(rough.footprint.begin(), rough.footprint.end(), 1);
  const bool dense = dense_share(coarse, shares, view, rough) > kMostDense;
  if (dense && static_cast<double>(cells) < kCoveringShare * view.seen()) return std::nullopt;
  if (cut_off(view, rough.footprint) && (dense || view.axis == 2)) return std::nullopt;   // a scan ends across the body
  return Candidate{fine_slab(levels, coarse, view, rough, columns, flat.has_value()),
                   static_cast<double>(cells) / view.seen()};
}

/// The layer that covers most of what is seen from its end.
std::optional<Slab> next_slab(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares,
                              const std::vector<std::uint8_t>& peeled, int threads) {
  std::array<std::optional<Candidate>, 6> seen;
  for_chunks(6, 1, threads, [&](int n, int, int) {
    seen[static_cast<std::size_t>(n)] = slab_in(levels, coarse, shares, peeled, make_view(coarse, shares, peeled, n / 2, n % 2 == 1));
  });
  std::optional<Candidate> best;
  for (auto& found : seen)
    if (found && (!best || found->share > best->share)) best = std::move(found);
  if (!best) return std::nullopt;
  return std::move(best->slab);
}

}  // namespace

std::vector<Slab> find_slabs(const Volume<std::uint8_t>& levels, const Coarse& coarse, const Shares& shares, std::vector<Slab> known,
                             int threads) {
  constexpr std::size_t kMost = 10;
  std::vector<Slab> slabs = std::move(known);
  std::vector<std::uint8_t> peeled = blocks_of(slabs, levels.grid, coarse);
  while (slabs.size() < kMost) {
    auto slab = next_slab(levels, coarse, shares, peeled, threads);
    if (!slab) break;
    slabs.push_back(std::move(*slab));
    peeled = blocks_of(slabs, levels.grid, coarse);
  }
  return slabs;
}

std::vector<std::uint8_t> blocks_of(const std::vector<Slab>& slabs, const Grid& grid, const Coarse& coarse) {
  std::vector<std::uint16_t> voxels(coarse.count());
  for (const Slab& slab : slabs)
    for_slab(slab, grid, coarse, 1, grid.spacing_mm[slab.axis], [&](const std::array<int, 3>& at, double, double) {
      ++voxels[coarse.block_of({at[0], at[1], at[2]})];
    });
  const int half = coarse.factor[0] * coarse.factor[1] * coarse.factor[2] / 2;
  std::vector<std::uint8_t> blocks(coarse.count());
  for (std::size_t v = 0; v < blocks.size(); ++v) blocks[v] = voxels[v] >= std::max(1, half);
  return blocks;
}

}  // namespace leastharm::segment_detail
