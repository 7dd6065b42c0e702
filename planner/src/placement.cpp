#include "planner/placement.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "planner/counter_random.h"

namespace leastharm {

namespace {

constexpr double kFarthest_sd = 8;
constexpr int kSets = 4, kDirectionsPerSet = 64, kDirections = kSets * kDirectionsPerSet;
constexpr int kBins = 160;   // of the lateral error's size, up to kFarthest_sd

double own_sd_mm(const Placement& placement) {
  return std::sqrt(std::max(0.0, placement.placement_mm * placement.placement_mm -
                                     placement.shared_mm * placement.shared_mm));
}

/// The turn about the hub at a depth, as a share of what it is at the tip.
double share_of_turn(const Track& track, double depth_mm) {
  const double path = path_length_mm(track), lever = std::max(path, track.needle.usable_mm - track.needle.dead_tip_mm);
  return 1 - (path - depth_mm) / lever;
}

/// Chance that the needle's end comes at least so deep.
double depth_chance(double depth_mm, double end_mm, double sd_mm) {
  if (sd_mm <= 0) return depth_mm <= end_mm ? 1 : 0;
  return normal_cdf((end_mm - depth_mm) / sd_mm);
}

/// A voxel as the lateral error sees it, in standard deviations of that error at the voxel's depth.
struct Shadow {
  double x = 0, y = 0;        ///< place across the track
  double radius = 0;          ///< errors nearer than this to (x, y) touch it ...
  double chance = 0;          ///< ... if the needle goes deep enough
};

std::vector<Shadow> shadows_of(const KeepOut& keep_out, const Track& track, const Placement& placement) {
  const Cylinder steel = outer_cylinder(track);
  const auto [e1, e2] = across(steel.axis);
  const double widest = lateral_sd_mm(placement, track, steel.length_mm + kFarthest_sd * placement.depth_mm);
  const Cylinder reach{steel.start, steel.axis, steel.length_mm + kFarthest_sd * placement.depth_mm,
                       steel.radius_mm + kFarthest_sd * widest};
  const double half_along = keep_out.half_width_mm(steel.axis);
  std::vector<Shadow> shadows;
  for (const KeepOut::Block& block : keep_out.blocks()) {
    if (reach.signed_distance_mm(block.centre) > block.radius_mm + keep_out.largest_half_width_mm()) continue;
    for (std::size_t n = block.begin; n < block.end; ++n) {
      const Vec3 r = keep_out.cells()[n].centre() - steel.start;
      const double depth = r.dot(steel.axis);
      // Steel that crosses no border and still is in the keep-out begins in it: what lies about the entry counts whole.
      if (depth < -half_along || (n >= block.border_end && depth > half_along)) continue;
      const Vec3 side = r - depth * steel.axis;
      const double half_across = side.norm() > 0 ? keep_out.half_width_mm(side.normalized()) : 0;
      // Where the track does not move at all, a thousandth of a millimetre stands for that.
      const double sd = std::max(lateral_sd_mm(placement, track, std::max(depth, 0.0)), 1e-3);
      const double touch = steel.radius_mm + half_across;
      if (side.norm() - touch > kFarthest_sd * sd) continue;
      const double chance = depth_chance(depth - half_along, steel.length_mm, placement.depth_mm);
      if (chance > 1e-15) shadows.push_back({side.dot(e1) / sd, side.dot(e2) / sd, touch / sd, chance});
    }
  }
  return shadows;
}

/// For each direction of the error and each bin of its size: the chance that the keep-out is touched.
class TouchMap {
 public:
  TouchMap() : chance_(static_cast<std::size_t>(kDirections) * kBins) {}

  void add(const Shadow& shadow) {
    const double distance = std::hypot(shadow.x, shadow.y);
    const bool around = distance <= shadow.radius;
    const double half_angle = around ? std::numbers::pi : std::asin(shadow.radius / distance);
    const double middle = std::atan2(shadow.y, shadow.x);
    const double step = 2 * std::numbers::pi / kDirections;
    const int first = static_cast<int>(std::ceil((middle - half_angle) / step));
    const int last = around ? first + kDirections - 1 : static_cast<int>(std::floor((middle + half_angle) / step));
    for (int n = first; n <= last; ++n) {
      const double turn = n * step - middle, along = distance * std::cos(turn), off = distance * std::sin(turn);
      const double half_chord = std::sqrt(std::max(0.0, shadow.radius * shadow.radius - off * off));
      cover(((n % kDirections) + kDirections) % kDirections, std::max(0.0, along - half_chord), along + half_chord,
            shadow.chance);
    }
  }

  [[nodiscard]] Chance chance() const {
    std::array<double, kSets> sets{};
    for (int direction = 0; direction < kDirections; ++direction)
      for (int bin = 0; bin < kBins; ++bin)
        sets[static_cast<std::size_t>(direction % kSets)] += at(direction, bin) * mass(bin) / kDirectionsPerSet;
    double mean = 0, square = 0;
    for (const double p : sets) mean += p / kSets;
    for (const double p : sets) square += (p - mean) * (p - mean);
    return {std::min(mean, 1.0), std::sqrt(square / (kSets - 1) / kSets)};
  }

 private:
  static constexpr double kWidth = kFarthest_sd / kBins;
  [[nodiscard]] float at(int direction, int bin) const {
    return chance_[static_cast<std::size_t>(direction) * kBins + static_cast<std::size_t>(bin)];
  }
  /// Rayleigh's law: chance that the error's size falls into a bin.
  [[nodiscard]] static double mass(int bin) {
    const double r1 = bin * kWidth, r2 = r1 + kWidth;
    return std::exp(-r1 * r1 / 2) - std::exp(-r2 * r2 / 2);
  }
  void cover(int direction, double from, double to, double chance) {
    const int first = static_cast<int>(from / kWidth), last = std::min(kBins - 1, static_cast<int>(to / kWidth));
    for (int bin = first; bin <= last; ++bin) {
      const double part = std::min(to / kWidth, bin + 1.0) - std::max(from / kWidth, static_cast<double>(bin));
      float& value = chance_[static_cast<std::size_t>(direction) * kBins + static_cast<std::size_t>(bin)];
      value = std::max(value, static_cast<float>(part * chance));
    }
  }
  std::vector<float> chance_;
};

/// disc_chance by integrating across the disc: for each chord the chance along it is an error function.
double integrated_disc_chance(double distance, double radius, double sd) {
  constexpr int kSteps = 48;
  const double low = std::max(-radius, distance - 9 * sd), high = std::min(radius, distance + 9 * sd);
  if (low >= high) return 0;
  double sum = 0;
  for (int n = 0; n < kSteps; ++n) {
    // The cosine spacing lets the chord's square-root ends do no harm.
    const double t = std::numbers::pi * (n + 0.5) / kSteps;
    const double x = (low + high) / 2 - (high - low) / 2 * std::cos(t);
    const double weight = (high - low) / 2 * std::sin(t) * std::numbers::pi / kSteps;
    const double half_chord = std::sqrt(std::max(0.0, radius * radius - x * x));
    const double z = (x - distance) / sd;
    sum += weight * std::exp(-z * z / 2) * std::erf(half_chord / (sd * std::numbers::sqrt2));
  }
  return sum / (sd * std::sqrt(2 * std::numbers::pi));
}

/// The same from a table over (distance - radius)/sd and sd/(sd + radius).
class DiscChanceTable {
 public:
  DiscChanceTable() : values_(static_cast<std::size_t>(kRows) * kColumns) {
    for (int row = 0; row < kRows; ++row)
      for (int column = 0; column < kColumns; ++column) {
        const double y = static_cast<double>(row) / (kRows - 1), beyond = -kSpan + 2 * kSpan * column / (kColumns - 1);
        values_[index(row, column)] = static_cast<float>(entry(y, beyond));
      }
  }
  [[nodiscard]] double operator()(double y, double beyond) const {
    if (beyond >= kSpan) return 0;
    const double r = y * (kRows - 1), c = (std::max(beyond, -kSpan) + kSpan) / (2 * kSpan) * (kColumns - 1);
    const int row = std::min(static_cast<int>(r), kRows - 2), column = std::min(static_cast<int>(c), kColumns - 2);
    const auto at = [&](int i, int j) { return static_cast<double>(values_[index(row + i, column + j)]); };
    const double fr = r - row, fc = c - column;
    return std::lerp(std::lerp(at(0, 0), at(0, 1), fc), std::lerp(at(1, 0), at(1, 1), fc), fr);
  }

 private:
  static constexpr int kRows = 97, kColumns = 261;
  static constexpr double kSpan = 6.5;
  static std::size_t index(int row, int column) {
    return static_cast<std::size_t>(row) * kColumns + static_cast<std::size_t>(column);
  }
  static double entry(double y, double beyond) {
    if (y <= 0) return normal_cdf(-beyond);
    if (y >= 1) return 0;
    const double radius = 1, sd = y / (1 - y);
    return integrated_disc_chance(std::max(0.0, radius + beyond * sd), radius, sd);
  }
  std::vector<float> values_;
};

/// A point of the additive recurrence that fills the cube evenly (Roberts's sequence: powers of the root of x^4 = x + 1).
Vec3 even_point(int n) {
  constexpr double g = 1.2207440846057596;
  const auto part = [n](double a) { return std::fmod(0.5 + a * (n + 1), 1.0); };
  return {part(1 / g), part(1 / (g * g)), part(1 / (g * g * g))};
}

}  // namespace

PlacedAxis placed_axis(const Track& track, const Placement& placement, const Vec3& own, const Vec3& shared) {
  const Vec3 axis = axis_of(track);
  const auto [e1, e2] = across(axis);
  const Vec3 shift = placement.shared_mm * (shared - shared.dot(axis) * axis);
  const Vec3 turn = own_sd_mm(placement) * (own.x() * e1 + own.y() * e2);
  const Vec3 entry = track.entry_lps_mm + shift + share_of_turn(track, 0) * turn, tip = track.tip_lps_mm + shift + turn;
  const Vec3 placed = (tip - entry).normalized();
  return {entry, tip + placement.depth_mm * own.z() * placed, placed};
}

double lateral_sd_mm(const Placement& placement, const Track& track, double depth_mm) {
  return std::hypot(placement.shared_mm, own_sd_mm(placement) * share_of_turn(track, depth_mm));
}

Chance touch_chance(const KeepOut& keep_out, const Track& track, const Placement& placement) {
  TouchMap map;
  for (const Shadow& shadow : shadows_of(keep_out, track, placement)) map.add(shadow);
  return map.chance();
}

double disc_chance(double distance, double radius, double sd) {
  static const DiscChanceTable table;
  if (sd <= 0) return distance < radius ? 1 : 0;
  return table(sd / (sd + radius), (distance - radius) / sd);
}

double expected_intrusion_mm3(const KeepOut& keep_out, const Track& track, const Placement& placement) {
  const Cylinder steel = outer_cylinder(track);
  const double deepest = steel.length_mm + 5 * placement.depth_mm;
  const double widest = lateral_sd_mm(placement, track, deepest);
  const double blur_mm = keep_out.mask().grid.spacing_mm.mean() / std::sqrt(12.0);   // a voxel is no point
  const Cylinder reach{steel.start, steel.axis, deepest, steel.radius_mm + 6 * (widest + blur_mm)};
  double cells = 0;
  for (const KeepOut::Block& block : keep_out.blocks()) {
    if (reach.signed_distance_mm(block.centre) > block.radius_mm) continue;
    for (std::size_t n = block.begin; n < block.end; ++n) {
      const Vec3 r = keep_out.cells()[n].centre() - steel.start;
      const double depth = r.dot(steel.axis);
      if (depth < 0 || depth > deepest) continue;
      const double beside = std::sqrt(std::max(0.0, r.squaredNorm() - depth * depth));
      const double sd = std::hypot(lateral_sd_mm(placement, track, depth), blur_mm);
      if (beside > steel.radius_mm + 6 * sd) continue;
      cells += disc_chance(beside, steel.radius_mm, sd) * depth_chance(depth, steel.length_mm, placement.depth_mm);
    }
  }
  return cells * keep_out.cell_mm3();
}

double reach_chance(const Body& body, const Region& region, const Track& track, const Placement& placement) {
  constexpr int kPoints = 4096;
  const Vec3 axis = axis_of(track);
  const auto [e1, e2] = across(axis);
  const double depth = path_length_mm(track) - track.needle.throw_mm / 2;
  const double sd = lateral_sd_mm(placement, track, depth);
  int reached = 0;
  for (int n = 0; n < kPoints; ++n) {
    const Vec3 u = even_point(n);
    const Vec3 point = track.entry_lps_mm + (depth + placement.depth_mm * normal_quantile(u.z())) * axis +
                       sd * (normal_quantile(u.x()) * e1 + normal_quantile(u.y()) * e2);
    const VoxelIndex v = body.grid.voxel_at(point);
    if (region.contains(v, body.material_at(v))) ++reached;
  }
  return static_cast<double>(reached) / kPoints;
}

}  // namespace leastharm
