#include "cell_bound.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

#include "distance_field.h"
#include "planner/entry.h"
#include "planner/sides.h"

namespace leastharm {
namespace {

constexpr double kRadian = 180 / std::numbers::pi;
constexpr double kFreeFarMm = 45;
constexpr double kLeftStepMm = 6;      // the distance to the midline is tabulated: it changes by at most a mm a mm
constexpr int kMostSamples = 1024;
constexpr float kUnknownSlope = 1e6f;  // beyond the coarsest hull
constexpr float kEndLink = 3;          // the link error at the flat end, where layers are cut

/// The middle line of a cell and how far its tracks stray from it.
struct Tube {
  Vec3 start, direction, across1, across2;
  double place1, place2, turn1, turn2;   ///< half-widths across: of the place in mm, of the direction in mm a mm
  double along;                          ///< half the box's extent along the line, mm
  double place, turn;

  explicit Tube(const Cell& cell) : start(cell.middle.cast<double>()), direction(cell.direction()) {
    const double azimuth = static_cast<double>(cell.turn), elevation = static_cast<double>(cell.tilt);
    const double azimuth_half = static_cast<double>(cell.turn_half), elevation_half = static_cast<double>(cell.tilt_half);
    across1 = {-std::sin(azimuth), std::cos(azimuth), 0};
    across2 = {-std::sin(elevation) * std::cos(azimuth), -std::sin(elevation) * std::sin(azimuth), std::cos(elevation)};
    // Central projection of the patch onto the plane across: its corners and edge middles lie farthest out.
    double forward_least = 1, out1 = 0, out2 = 0;
    for (const double b : {elevation - elevation_half, elevation, elevation + elevation_half})
      for (const double aside : {0.0, azimuth_half}) {
        const double forward = std::cos(b) * std::cos(elevation) * std::cos(aside) + std::sin(b) * std::sin(elevation);
        forward_least = std::min(forward_least, forward);
        out1 = std::max(out1, std::cos(b) * std::sin(aside));
        out2 = std::max(out2, std::abs(std::sin(b) * std::cos(elevation) - std::cos(b) * std::sin(elevation) * std::cos(aside)));
      }
    turn1 = out1 / std::max(forward_least, 0.1);
    turn2 = out2 / std::max(forward_least, 0.1);
    const Vec3 half = cell.half.cast<double>();
    along = half.dot(direction.cwiseAbs());
    place1 = half.dot(across1.cwiseAbs()) + along * turn1;
    place2 = half.dot(across2.cwiseAbs()) + along * turn2;
    place = std::hypot(place1, place2);
    turn = std::hypot(turn1, turn2);
  }
  [[nodiscard]] double radius(double t) const { return place + std::abs(t) * turn; }
};

/// The middle line at one place: what the field and its hull say there.
struct Sample {
  float value, low, floor;       ///< field; its least nearby; the least weight nearby
  float slope1, slope2, hull;    ///< the hull's axis across the line, its radius
  float link;
};

/// Sums that become the bound; lengths in mm, fields as they are.
class Sweep {
 public:
  Sweep(const Tube& tube, double step, int first, int window) : tube_(tube), step_(step), first_(first), window_(window) {}

  std::array<Sample, kMostSamples> samples;
  int count = 0;

  [[nodiscard]] double depth(int n) const { return (n + first_) * step_; }

  /// The least that the field's sum up to `end` can be, link errors taken off.
  [[nodiscard]] double least_until(double end, double near_end) {
    last_ = std::min(count, static_cast<int>(std::ceil((end + step_ / 2) / step_)) - first_);
    const double unsigned_least = without_signs(end, near_end);
    const double signed_least = with_signs(end, near_end);
    return std::max({0.0, unsigned_least, signed_least});
  }
  /// The least weight on the last stretch before the tip.
  [[nodiscard]] double least_weight(double from, double to) const {
    float least = std::numeric_limits<float>::max();
    for (int n = 0; n < count; ++n)
      if (depth(n) + step_ >= from && depth(n) - step_ <= to) least = std::min(least, samples[static_cast<std::size_t>(n)].floor);
    return least == std::numeric_limits<float>::max() ? 0 : std::max(0.0, static_cast<double>(least));
  }

  double by_place = 0, by_direction = 0;

 private:
  [[nodiscard]] double length(int n, double end) const { return std::clamp(end - (depth(n) - step_ / 2), 0.0, step_); }
  [[nodiscard]] float link(int n, double near_end) const {
    return samples[static_cast<std::size_t>(n)].link * (depth(n) > near_end ? kEndLink : 1);
  }
  /// A layer's link error cannot exceed what the field lays on the layer, and that comes from samples near by.
  [[nodiscard]] double capped_links(double end, double near_end, const std::array<float, kMostSamples + 1>& sums) const {
    double total = 0;
    for (int n = 0; n < last_; ++n) {
      const float near = sums[static_cast<std::size_t>(std::min(last_, n + window_ + 1))] - sums[static_cast<std::size_t>(std::max(0, n - window_))];
      total += length(n, end) * static_cast<double>(std::min(link(n, near_end), near));
    }
    return total;
  }

  /// Each track's field differs from the middle line's by at most its distance times the greatest slope between.
  double without_signs(double end, double near_end) {
    double sum = 0;
    sums_[0] = 0;
    for (int n = 0; n < last_; ++n) {
      const Sample& s = samples[static_cast<std::size_t>(n)];
      const double r = tube_.radius(depth(n)), slope = std::hypot(static_cast<double>(s.slope1), static_cast<double>(s.slope2));
      const double loss = std::min(r * (slope + static_cast<double>(s.hull)), std::max(0.0, static_cast<double>(s.value - s.low)));
      const double least = static_cast<double>(s.value) - loss;
      sum += length(n, end) * least;
      sums_[static_cast<std::size_t>(n) + 1] = sums_[static_cast<std::size_t>(n)] + static_cast<float>(std::max(0.0, least));
      by_place += length(n, end) * loss * tube_.place / r;
      by_direction += length(n, end) * loss * (1 - tube_.place / r);
    }
    return sum * (1 - kScoreSlack) - capped_links(end, near_end, sums_);
  }

  /// The same with the slope's mean taken off first: it moves all layers of a track together, so that a layer's front
  /// and back cancel.
  double with_signs(double end, double near_end) {
    double sum = 0, place1 = 0, place2 = 0, turn1 = 0, turn2 = 0;
    sums_[0] = 0;
    for (int n = 0; n < last_; ++n) {
      const Sample& s = samples[static_cast<std::size_t>(n)];
      const double t = depth(n), r = tube_.radius(t), l = length(n, end);
      const double slope1 = static_cast<double>(s.slope1), slope2 = static_cast<double>(s.slope2), slope = std::hypot(slope1, slope2);
      const double spread = r * (slope / 2 + static_cast<double>(s.hull)), drop = std::max(0.0, static_cast<double>(s.value - s.low));
      sum += l * (static_cast<double>(s.value) - std::min(spread, drop));
      if (spread < drop) {
        place1 += l * slope1 / 2;
        place2 += l * slope2 / 2;
        turn1 += l * t * slope1 / 2;
        turn2 += l * t * slope2 / 2;
      }
      const double most = static_cast<double>(s.value) + r * (slope + static_cast<double>(s.hull));
      sums_[static_cast<std::size_t>(n) + 1] = sums_[static_cast<std::size_t>(n)] + static_cast<float>(std::max(0.0, most));
    }
    sum -= std::abs(place1) * tube_.place1 + std::abs(place2) * tube_.place2 + std::abs(turn1) * tube_.turn1 + std::abs(turn2) * tube_.turn2;
    return sum * (1 - kScoreSlack) - capped_links(end, near_end, sums_);
  }

  const Tube& tube_;
  double step_;
  int first_, window_, last_ = 0;
  std::array<float, kMostSamples + 1> sums_;
};

}  // namespace

CellBounds::CellBounds(const SearchScene& scene, const EntryTree& tree) : scene_(scene), tree_(tree) {
  make_fields();
  make_depths();
}

void CellBounds::make_fields() {
  constexpr std::size_t kMostNodes = 40'000'000;
  const double tilt = scene_.file().limits.tilt_deg;
  std::map<double, std::shared_ptr<const GradientHulls>> of_outer;
  std::map<std::pair<const Request*, double>, std::shared_ptr<const FieldMaxima>> of_bore;
  for (const Ask& ask : scene_.asks()) {
    auto& hulls = of_outer[ask.needle->outer_mm];
    if (!hulls)
      hulls = std::make_shared<const GradientHulls>(
          *ask.cost, scene_.weights(), link_error(scene_.box_grid().spacing_mm, ask.needle->outer_mm / 2, ask.cost->factor(), tilt));
    auto& yield = of_bore[{ask.request, ask.needle->bore_mm}];
    if (!yield) {
      Vec3 offset;
      const Volume<float> density = scene_.requested_density(*ask.request, offset);
      const double radius = ask.needle->bore_mm / 2;
      const auto factor = refinement_factor(density.grid, radius, kMostNodes);
      yield = std::make_shared<const FieldMaxima>(RefinedField(density, radius, factor), density,
                                                  link_error(density.grid.spacing_mm, radius, factor, tilt));
    }
    fields_.push_back({hulls, yield});
  }
}

void CellBounds::make_depths() {
  const Grid& grid = scene_.box_grid();
  const Box& box = scene_.box();
  std::vector<std::uint8_t> air(grid.voxel_count()), solid(grid.voxel_count());
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        const bool is_air = scene_.body().material_at({i + box.low.i, j + box.low.j, k + box.low.k}) == Material::air;
        air[grid.offset(i, j, k)] = is_air;
        solid[grid.offset(i, j, k)] = !is_air;
      }
  free_mm_ = distance_to(grid, solid, kFreeFarMm);
  const Volume<float> depth = distance_to(grid, air, kFreeFarMm);
  for (std::size_t v = 0; v < depth.values.size(); ++v) free_mm_.values[v] -= depth.values[v];
  if (!sides_known(scene_.body())) return;
  Grid coarse;
  for (std::size_t a = 0; a < 3; ++a)
    coarse.size[a] = static_cast<int>(std::ceil((grid.size[a] - 1) * grid.spacing_mm[static_cast<Eigen::Index>(a)] / kLeftStepMm)) + 1;
  coarse.spacing_mm = Vec3::Constant(kLeftStepMm);
  Volume<float> left{coarse, std::vector<float>(coarse.voxel_count())};
  for (int k = 0; k < coarse.size[2]; ++k)
    for (int j = 0; j < coarse.size[1]; ++j)
      for (int i = 0; i < coarse.size[0]; ++i)
        left.values[coarse.offset(i, j, k)] = static_cast<float>(*scene_.left_mm(scene_.from_box(kLeftStepMm * Vec3(i, j, k))));
  left_ = LineField(left);
}

double CellBounds::least_free_tip_mm(const Cell& cell, std::size_t ask_index) const {
  const Needle& needle = *scene_.asks()[ask_index].needle;
  const Grid& grid = scene_.box_grid();
  const Tube tube(cell);
  const double radius = needle.outer_mm / 2, room = grid.spacing_mm.norm();   // from voxels' centres to what they hold
  const double longest = needle.usable_mm - needle.dead_tip_mm;
  const double near = slant_reach_mm(radius, std::min(scene_.file().limits.entry_angle_deg + 20, 80.0), grid) + radius + tube.along;
  constexpr double kStepMm = 3;
  double shaft_free = std::numeric_limits<double>::infinity();   // behind this the shaft is barred
  double hand_barred = -std::numeric_limits<double>::infinity(); // the last place where the hand finds no room
  const auto free_at = [&](double behind) {
    const Vec3 p = tube.start - behind * tube.direction;
    const VoxelIndex v{static_cast<int>(std::lround(p.x() / grid.spacing_mm.x())), static_cast<int>(std::lround(p.y() / grid.spacing_mm.y())),
                       static_cast<int>(std::lround(p.z() / grid.spacing_mm.z()))};
    return grid.contains(v) ? static_cast<double>(free_mm_.at(v)) : kFreeFarMm;
  };
  // hub = longest - tip + slack: the shaft must be free up to it, the hand from there on.
  const double most_hub = longest - static_cast<double>(cell.tip_mm) + 2 * tube.along;
  std::array<bool, 256> no_hand{};
  const int last = std::min(255, static_cast<int>((std::max(most_hub, near) + kHandLengthMm) / kStepMm));
  for (int n = static_cast<int>(std::ceil(near / kStepMm)); n <= last; ++n) {
    const double behind = n * kStepMm, free = free_at(behind), stray = tube.radius(behind) + room;
    if (free + stray < radius) {   // all tracks of the cell meet something solid here
      shaft_free = behind;
      break;
    }
    no_hand[static_cast<std::size_t>(n)] = free + stray < kHandRadiusMm;
  }
  // The farthest hub with room: its hand must end before the shaft is barred, too.
  for (double hub = std::max(most_hub, near); hub >= near; hub -= kStepMm) {
    if (hub + kHandLengthMm > shaft_free + kStepMm) continue;
    hand_barred = -1;
    for (int n = static_cast<int>(std::ceil(hub / kStepMm)); n <= last && n * kStepMm <= hub + kHandLengthMm - kStepMm; ++n)
      if (n * kStepMm >= hub + tube.along + kStepMm && no_hand[static_cast<std::size_t>(n)]) hand_barred = n * kStepMm;
    if (hand_barred < 0) return std::max(static_cast<double>(cell.tip_mm), longest - hub - 2 * tube.along - kStepMm);
  }
  return std::numeric_limits<double>::infinity();
}

bool CellBounds::bound(Cell& cell, std::size_t ask_index, int side) const {
  const Ask& ask = scene_.asks()[ask_index];
  const Needle& needle = *ask.needle;
  const Fields& fields = fields_[ask_index];
  const Limits& limits = scene_.file().limits;
  const Grid& grid = scene_.box_grid();
  const EntryTree::Node& node = tree_.nodes[cell.node];
  const Tube tube(cell);
  const Vec3& d = tube.direction;

  const double angle = std::acos(std::clamp(-d.dot(node.outward), -1.0, 1.0));
  const double least_angle = std::max(0.0, angle - std::atan(tube.turn) - node.cone_rad);
  if (least_angle * kRadian > limits.entry_angle_deg) return false;
  if (node.child < 0) {
    const EntryFace& face = tree_.faces[node.begin];
    if (face.sign * d[face.axis] > tube.turn * 1.0001) return false;   // no track comes from the face's front
  }

  Eigen::Index leading = 0;
  d.cwiseAbs().maxCoeff(&leading);
  const double step = grid.spacing_mm[leading] / std::abs(d[leading]) / kSamplesPerLayer;
  const double radius = needle.outer_mm / 2, area = std::numbers::pi * radius * radius, diagonal = grid.spacing_mm.norm();
  const double longest = needle.usable_mm - needle.dead_tip_mm + tube.along;
  const double before = radius + diagonal + tube.along;   // the needle's rim meets the surface before the axis
  const int first = -static_cast<int>(std::ceil(before / step));
  const int core_samples = static_cast<int>(std::ceil(needle.throw_mm / step)) + 1;
  const double share = std::numbers::pi / 4 * needle.bore_mm * needle.bore_mm * (needle.recovery_p05 + needle.recovery_p95) / 2;
  const double need = ask.least_need_mg / share * (1 - kScoreSlack);   // as an integral of density along the core
  const double keep_off = limits.clearance_mm + radius - diagonal;

  Sweep sweep(tube, step, first, static_cast<int>(std::ceil((radius + diagonal) / step)));
  std::array<double, kMostSamples + 1> collected;
  collected[0] = 0;
  int free_from = 0;
  double tip = -1e9;
  for (int s = first; sweep.count < kMostSamples; ++s) {
    const double t = s * step;
    if (t - step / 2 > longest) return false;
    const Vec3 p = tube.start + t * d;
    const double r = tube.radius(t);
    const auto n = static_cast<std::size_t>(sweep.count++);
    Sample& sample = sweep.samples[n];
    if (r <= fields.hulls->most_radius_mm()) {
      const GradientHull& hull = fields.hulls->at(fields.hulls->level_for(r), p);
      const float value = ask.cost->at(p);
      const Vec3 slope(static_cast<double>(hull.x), static_cast<double>(hull.y), static_cast<double>(hull.z));
      const bool even = hull.link[0] + hull.link[1] + hull.link[2] <= 0;
      sample = {value, even ? value : hull.low, even ? value : hull.floor, static_cast<float>(slope.dot(tube.across1)),
                static_cast<float>(slope.dot(tube.across2)), hull.radius,
                hull.link[static_cast<std::size_t>(leading)]};
    } else {
      sample = {std::max(0.0f, ask.cost->at(p)), 0, 0, kUnknownSlope, 0, 0, 0};
    }
    if (scene_.has_keep_outs() && scene_.keep_out_distance_mm(scene_.from_box(p)) + r < keep_off) return false;
    const double most = r > fields.yield->most_radius_mm() ? static_cast<double>(fields.yield->most())
                                                           : static_cast<double>(fields.yield->at(fields.yield->level_for(r), p - ask.core_offset));
    collected[n + 1] = collected[n] + step * most;
    if (side != 0 && side * static_cast<double>(left_.at(p)) + r + kLeftStepMm / 2 < kSideMargin_mm + needle.bore_mm / 2) {
      free_from = sweep.count;   // no core of the cell's lies there
      continue;
    }
    if (t + step / 2 <= std::max(-tube.along, static_cast<double>(cell.tip_mm))) continue;
    const double held = collected[n + 1] - collected[static_cast<std::size_t>(std::max(free_from, sweep.count - core_samples))];
    if (held < need) continue;
    const double part = most > 0 ? std::clamp(1 - (held - need) / (step * most), 0.0, 1.0) : 0;
    tip = t - step / 2 + part * step;
    break;
  }
  if (tip < -1e8) return false;
  tip = std::max(tip, static_cast<double>(cell.tip_mm));
  cell.tip_mm = static_cast<float>(tip);

  // The kernel's ball reaches a radius ahead: up to `end` the field holds nothing from beyond the flat end. The needle
  // displaces a radius' length more, whose weight is at least the least near by.
  const double end = tip + needle.dead_tip_mm - radius;
  const double swept = sweep.least_until(end, end - radius - diagonal);
  const double rest = needle.dead_tip_mm > 0 ? 0 : radius * sweep.least_weight(end - radius, tip);
  const double hole = scene_.least_hole_mm() * area / std::cos(least_angle);
  cell.bound = std::max(cell.bound, static_cast<float>(hole + area * (swept + rest * (1 - kScoreSlack))));
  cell.by_place = static_cast<float>(sweep.by_place);
  cell.by_direction = static_cast<float>(sweep.by_direction);
  return true;
}

}  // namespace leastharm
