#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include "planner/core_yield.h"
#include "planner/counter_random.h"
#include "planner/density.h"
#include "planner/placement.h"
#include "planner/voxel_walk.h"

namespace leastharm {
namespace {

constexpr double kPatch_mm = 5;
constexpr int kNodes = 19;

/// What draws need of the voxels, gathered from the body's volumes block by block as cores come by: all draws of a track
/// look at the same few thousand voxels, which lie far apart in the volumes.
class NearVoxels {
 public:
  struct Voxel {
    float water_mg_per_mm3 = 0;
    float right_below = 0;          ///< the map is right here where the error's normal is not above this
    std::uint8_t weighed = 0;       ///< index of PerWeighed; 0 = air
    bool wanted = false;
  };

  NearVoxels(const MassModel& model, const Region& region) : model_(model), region_(region), size_(model.body().grid.size) {
    for (std::size_t a = 0; a < 3; ++a) blocks_along_[a] = static_cast<std::size_t>((size_[a] + kSide - 1) / kSide);
    begins_.assign(blocks_along_[0] * blocks_along_[1] * blocks_along_[2], kNotYet);
  }

  /// Precondition: the grid holds the voxel.
  [[nodiscard]] const Voxel& at(VoxelIndex v) {
    const auto part = [](int n) { return static_cast<std::size_t>(n) / kSide; };
    const auto rest = [](int n) { return static_cast<std::size_t>(n) % kSide; };
    std::uint32_t& begin = begins_[part(v.i) + blocks_along_[0] * (part(v.j) + blocks_along_[1] * part(v.k))];
    if (begin == kNotYet) begin = gather({v.i - v.i % kSide, v.j - v.j % kSide, v.k - v.k % kSide});
    return voxels_[begin + rest(v.i) + kSide * (rest(v.j) + kSide * rest(v.k))];
  }

 private:
  static constexpr int kSide = 8;
  static constexpr std::uint32_t kNotYet = ~std::uint32_t{0};

  std::uint32_t gather(VoxelIndex low) {
    const Body& body = model_.body();
    const auto begin = static_cast<std::uint32_t>(voxels_.size());
    voxels_.resize(begin + kSide * kSide * kSide);
    const auto end = [&](int from, std::size_t axis) { return std::min(kSide, size_[axis] - from); };
    for (int k = 0; k < end(low.k, 2); ++k)
      for (int j = 0; j < end(low.j, 1); ++j)
        for (int i = 0; i < end(low.i, 0); ++i) {
          const VoxelIndex v{low.i + i, low.j + j, low.k + k};
          const std::size_t offset = body.grid.offset(v);
          const std::uint8_t material = body.materials[offset], confidence = body.confidence.empty() ? 255 : body.confidence[offset];
          voxels_[begin + static_cast<std::size_t>(i + kSide * (j + kSide * k))] = {
              static_cast<float>(as_water_mg_per_mm3(body.hu[offset])), static_cast<float>(model_.right_below(confidence)),
              static_cast<std::uint8_t>(weighed_as(material, body.hu[offset])),
              material != 0 && region_.contains(v, static_cast<Material>(material))};
        }
    return begin;
  }

  const MassModel& model_;
  const Region& region_;
  std::array<int, 3> size_;
  std::array<std::size_t, 3> blocks_along_{};
  std::vector<std::uint32_t> begins_;   ///< of each block in `voxels_`
  std::vector<Voxel> voxels_;
};

/// Which voxels of the map are wrong in one draw.
class MapErrors {
 public:
  MapErrors(const Grid& grid, std::uint64_t seed, std::uint64_t draw)
      : seed_(seed), stream_(stream_named("map, patches") ^ random_bits(seed, draw, 0)), patches_per_voxel_(grid.spacing_mm / kPatch_mm),
        whole_(random_normal(seed, stream_named("map, whole"), draw) * std::numbers::sqrt2 / 2) {}

  [[nodiscard]] bool right(VoxelIndex v, float right_below) {
    if (std::isinf(right_below)) return right_below > 0;
    return whole_ + patch(v) * std::numbers::sqrt2 / 2 <= static_cast<double>(right_below);
  }

 private:
  struct Patch {
    std::uint64_t key = ~std::uint64_t{0};
    double z = 0;
  };

  /// Patches are remembered in few places; one that was pushed out is drawn again, and comes out the same.
  double patch(VoxelIndex v) {
    const Vec3 cube = Vec3(v.i, v.j, v.k).cwiseProduct(patches_per_voxel_);
    const auto i = static_cast<std::uint64_t>(cube.x()), j = static_cast<std::uint64_t>(cube.y()), k = static_cast<std::uint64_t>(cube.z());
    const std::uint64_t key = i << 42 | j << 21 | k;
    Patch& known = patches_[(i & 3) << 4 | (j & 3) << 2 | (k & 3)];
    if (known.key != key) known = {key, random_normal(seed_, stream_, key)};
    return known.z;
  }

  std::uint64_t seed_, stream_;
  Vec3 patches_per_voxel_;
  double whole_;
  std::array<Patch, 64> patches_;
};

/// What a track draws for itself hangs on where its tip lies in the grid, not on its name or its company: the same
/// track gets the same figures wherever it turns up.
std::uint64_t own_stream(const Grid& grid, const Track& track) {
  const Vec3 tip = grid.index_from_lps(track.tip_lps_mm) * 1000;
  std::uint64_t stream = stream_named("track");
  for (const double coordinate : tip) stream = random_bits(stream, static_cast<std::uint64_t>(std::llround(coordinate)), 0);
  return stream;
}

/// A track's own placement error (three) and recovery, standard normals, spread evenly over all draws so that chances are
/// off by a third of what independent draws would leave: an additive recurrence (Roberts's sequence in four dimensions: powers
/// of the root of x^5 = x + 1), shifted at random, in an order shuffled anew for each track so that tracks stay independent.
class OwnErrors {
 public:
  OwnErrors(std::uint64_t seed, std::uint64_t own, int draws) : order_(static_cast<std::size_t>(draws)) {
    std::iota(order_.begin(), order_.end(), 0);
    for (std::size_t n = order_.size(); n > 1; --n)
      std::swap(order_[n - 1], order_[random_bits(seed, own ^ stream_named("order"), n) % n]);
    for (std::size_t d = 0; d < 4; ++d) shift_[d] = random_uniform(seed, own ^ stream_named("shift"), d);
  }
  [[nodiscard]] std::array<double, 4> at(int draw) const {
    constexpr double g = 1.1673039782614187;
    std::array<double, 4> z;
    double step = 1;
    for (std::size_t d = 0; d < 4; ++d) {
      step /= g;
      const double u = shift_[d] + step * (order_[static_cast<std::size_t>(draw)] + 1);
      z[d] = normal_quantile(std::clamp(u - std::floor(u), 1e-9, 1 - 1e-9));
    }
    return z;
  }

 private:
  std::vector<int> order_;
  std::array<double, 4> shift_;
};

/// What a core holds in one draw, weighed as read; a shift of all HU adds its share.
struct Weighed {
  double mg = 0, mg_per_1000_hu = 0;

  void add(double water_mg, double mm3, double per_ratio) {
    mg += water_mg * per_ratio;
    mg_per_1000_hu += mm3 * per_ratio;
  }
  [[nodiscard]] double shifted(double hu) const { return std::max(0.0, mg + mg_per_1000_hu * hu / 1000); }
};

struct DrawnCore {
  Weighed requested, all;
  double requested_mm3 = 0;
};

class Drawing {
 public:
  Drawing(const MassModel& model, const Region& region, const Track& track, const Placement& placement, std::uint64_t seed, int draws)
      : model_(model), track_(track), placement_(placement), seed_(seed), own_(own_stream(model.body().grid, track)),
        own_errors_(seed, own_, draws), voxels_(model, region), nodes_(disc_nodes(track.needle.bore_mm / 2, kNodes)) {}

  /// Requested and all mass of one draw, mg.
  [[nodiscard]] std::array<double, 2> at(int n) {
    const auto draw = static_cast<std::uint64_t>(n);
    const auto [x, y, z, recovery] = own_errors_.at(n);
    const Vec3 shared{normal("shared", 3 * draw), normal("shared", 3 * draw + 1), normal("shared", 3 * draw + 2)};
    const DrawnCore core = taken(placed_axis(track_, placement_, {x, y, z}, shared), draw);
    const double half_width = track_.needle.bore_tolerance_mm / track_.needle.bore_mm;
    const double bore = 1 + half_width * (2 * random_uniform(seed_, own_ ^ stream_named("bore"), draw) - 1);
    const double recovered = recovery_at(track_.needle, recovery) * bore * bore;
    const ScanQuality& scan = model_.body().scan;
    const double averaging = std::sqrt(std::min(1.0, noise_grain_mm3(model_.body().grid) / std::max(core.requested_mm3, 1e-9)));
    const double shift_hu = scan.offset_sd_hu * normal("offset", draw) +
                            scan.noise_hu * averaging * random_normal(seed_, own_ ^ stream_named("noise"), draw);
    return {core.requested.shifted(shift_hu) * recovered, core.all.shifted(shift_hu) * recovered};
  }

 private:
  [[nodiscard]] double normal(std::string_view stream, std::uint64_t counter) const {
    return random_normal(seed_, stream_named(stream), counter);
  }

  /// 1/R of each material as it is composed in one draw.
  [[nodiscard]] PerWeighed<double> per_ratio(std::uint64_t draw) const {
    PerWeighed<double> inverse;
    for (std::size_t m = 0; m < inverse.size(); ++m) {
      const bool one_filling = m == kDensePacking && model_.filling() != Filling::not_stated;   // loose or dense, it is the same matter
      const std::size_t matter = one_filling ? static_cast<std::size_t>(Material::packing) : m;
      const double z = random_normal(seed_, stream_named("composition") + matter, draw);
      inverse[m] = std::exp(-model_.composition_sd()[m] * z) / model_.ratio()[m];
    }
    return inverse;
  }

  [[nodiscard]] DrawnCore taken(const PlacedAxis& placed, std::uint64_t draw) {
    const Grid& grid = model_.body().grid;
    const auto [e1, e2] = across(placed.axis);
    const Vec3 start = grid.index_from_lps(placed.tip_lps_mm - track_.needle.throw_mm * placed.axis);
    const Vec3 along = grid.index_way(placed.axis), aside = grid.index_way(e1), upward = grid.index_way(e2);
    const PerWeighed<double> inverse = per_ratio(draw);
    const double area = std::numbers::pi / 4 * track_.needle.bore_mm * track_.needle.bore_mm / kNodes;
    MapErrors errors(grid, seed_, draw);
    DrawnCore core;
    for (const DiscNode& node : nodes_)
      walk_voxels_by_index(grid.size, start + node.x_mm * aside + node.y_mm * upward, along, 0, track_.needle.throw_mm,
                           [&](std::size_t, VoxelIndex v, double enter, double leave) {
                             const NearVoxels::Voxel& voxel = voxels_.at(v);
                             if (voxel.weighed == 0) return;   // air weighs nothing
                             const double mm3 = area * (leave - enter), water_mg = mm3 * static_cast<double>(voxel.water_mg_per_mm3);
                             core.all.add(water_mg, mm3, inverse[voxel.weighed]);
                             if (!voxel.wanted || !errors.right(v, voxel.right_below)) return;
                             core.requested.add(water_mg, mm3, inverse[voxel.weighed]);
                             core.requested_mm3 += mm3;
                           });
    return core;
  }

  const MassModel& model_;
  const Track& track_;
  const Placement& placement_;
  std::uint64_t seed_, own_;
  OwnErrors own_errors_;
  NearVoxels voxels_;
  std::vector<DiscNode> nodes_;
};

}  // namespace

MassDraws draw_masses(const MassModel& model, const Region& region, const Track& track, const Placement& placement,
                      std::uint64_t seed, int draws) {
  Drawing drawing(model, region, track, placement, seed, draws);
  MassDraws out;
  for (int n = 0; n < draws; ++n) {
    const auto [requested, all] = drawing.at(n);
    out.requested_mg.push_back(requested);
    out.all_mg.push_back(all);
  }
  return out;
}

}  // namespace leastharm
