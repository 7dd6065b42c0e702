#include "frame.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

#include "bone_blocks.h"
#include "mirror.h"

namespace leastharm::segment_detail {
namespace {

/// The spine in the mirror plane: for each level along the head axis where it lies towards `forward`.
struct Spine {
  double first_mm = 0, step_mm = 1;      ///< levels: first + n * step
  std::vector<double> forward_mm, weight;
};

struct Plane2 {
  int levels = 0, columns = 0;
  std::vector<double> value;
  [[nodiscard]] double& at(int level, int column) { return value[static_cast<std::size_t>(level) * static_cast<std::size_t>(columns) + static_cast<std::size_t>(column)]; }
};

/// The path from the first to the last level that meets most bone, moving at most one column a level.
std::vector<int> richest_path(Plane2& bone) {
  Plane2 sum = bone;
  std::vector<int> from(bone.value.size());
  for (int l = 1; l < bone.levels; ++l)
    for (int c = 0; c < bone.columns; ++c) {
      int best = c;
      for (const int d : {c - 1, c + 1})
        if (d >= 0 && d < bone.columns && sum.at(l - 1, d) > sum.at(l - 1, best)) best = d;
      from[static_cast<std::size_t>(l) * static_cast<std::size_t>(bone.columns) + static_cast<std::size_t>(c)] = best;
      sum.at(l, c) += sum.at(l - 1, best);
    }
  std::vector<int> path(static_cast<std::size_t>(bone.levels));
  int at = 0;
  for (int c = 1; c < bone.columns; ++c)
    if (sum.at(bone.levels - 1, c) > sum.at(bone.levels - 1, at)) at = c;
  for (int l = bone.levels - 1; l >= 0; --l) {
    path[static_cast<std::size_t>(l)] = at;
    at = from[static_cast<std::size_t>(l) * static_cast<std::size_t>(bone.columns) + static_cast<std::size_t>(at)];
  }
  return path;
}

Spine find_spine(const std::vector<Weighted>& bone, const Mirror& mirror, const Vec3& head, const Vec3& forward,
                 double half_width_mm, double step_mm, double highest_mm) {
  double low = 1e30, near = 1e30, far = -1e30;
  for (const Weighted& p : bone) {
    const Vec3 d = p.at - mirror.point;
    low = std::min(low, d.dot(head));
    near = std::min(near, d.dot(forward));
    far = std::max(far, d.dot(forward));
  }
  Plane2 plane;
  plane.levels = std::max(1, static_cast<int>((highest_mm - low) / step_mm) + 1);
  plane.columns = static_cast<int>((far - near) / step_mm) + 3;
  plane.value.assign(static_cast<std::size_t>(plane.levels) * static_cast<std::size_t>(plane.columns), 0);
  for (const Weighted& p : bone) {
    const Vec3 d = p.at - mirror.point;
    const int level = static_cast<int>((d.dot(head) - low) / step_mm);
    if (std::abs(d.dot(mirror.normal)) > half_width_mm || level >= plane.levels) continue;
    const int column = static_cast<int>((d.dot(forward) - near) / step_mm) + 1;
    for (int c = -1; c <= 1; ++c) plane.at(level, column + c) += p.weight * (c == 0 ? 0.5 : 0.25);
  }
  const std::vector<int> path = richest_path(plane);
  Spine spine;
  spine.first_mm = low + 0.5 * step_mm;
  spine.step_mm = step_mm;
  for (int l = 0; l < plane.levels; ++l) {
    spine.forward_mm.push_back(near + (path[static_cast<std::size_t>(l)] - 0.5) * step_mm);
    spine.weight.push_back(plane.at(l, path[static_cast<std::size_t>(l)]));
  }
  return spine;
}

/// How far the body's middle lies in front of the spine, as a share of the body's half depth; negative: behind.
double forward_of_spine(const std::vector<Weighted>& body, const Spine& spine, const Mirror& mirror, const Vec3& head,
                        const Vec3& forward) {
  struct Level {
    double weight = 0, sum = 0, squares = 0;
  };
  std::vector<Level> levels(spine.forward_mm.size());
  for (const Weighted& p : body) {
    const Vec3 d = p.at - mirror.point;
    const double l = (d.dot(head) - spine.first_mm) / spine.step_mm + 0.5;
    if (l < 0 || l >= static_cast<double>(levels.size())) continue;
    Level& level = levels[static_cast<std::size_t>(l)];
    const double y = d.dot(forward);
    level.weight += p.weight;
    level.sum += p.weight * y;
    level.squares += p.weight * y * y;
  }
  double shift = 0, depth = 0;
  for (std::size_t l = 0; l < levels.size(); ++l) {
    if (levels[l].weight <= 0) continue;
    const double mean = levels[l].sum / levels[l].weight;
    shift += spine.weight[l] * (mean - spine.forward_mm[l]);
    depth += spine.weight[l] * 2 * std::sqrt(std::max(0.0, levels[l].squares / levels[l].weight - mean * mean));
  }
  return depth > 0 ? shift / depth : 0;
}

std::vector<Vec3> midline_of(const Spine& spine, const Mirror& mirror, const Vec3& head, const Vec3& forward,
                             double highest_mm) {
  std::vector<Vec3> line;
  const int n = static_cast<int>(spine.forward_mm.size()), reach = 4;
  double strongest = 0;
  for (const double w : spine.weight) strongest = std::max(strongest, w);
  double held = 0;
  bool any = false;
  for (int l = 0; l < n; l += reach) {
    double sum = 0, weight = 0;
    for (int m = std::max(0, l - reach); m <= std::min(n - 1, l + reach); ++m)
      sum += spine.weight[static_cast<std::size_t>(m)] * spine.forward_mm[static_cast<std::size_t>(m)], weight += spine.weight[static_cast<std::size_t>(m)];
    if (weight > 0.5 * strongest) held = sum / weight, any = true;
    if (any) line.push_back(mirror.point + (spine.first_mm + l * spine.step_mm) * head + held * forward);
  }
  if (!line.empty()) {
    const double low = (line.front() - mirror.point).dot(head);
    line.insert(line.begin(), line.front() + (spine.first_mm - low - spine.step_mm) * head);
    line.push_back(line.back() + (highest_mm - (line.back() - mirror.point).dot(head)) * head);
  }
  return line;
}

}  // namespace

BodyFrame propose_frame(const Volume<std::uint8_t>& materials, int threads) {
  BodyFrame frame;
  const Blocks blocks = make_blocks(materials, threads);
  const std::vector<Weighted> bone = points_of(blocks, blocks.bone, 0.15F), body = points_of(blocks, blocks.body, 0.3F);
  constexpr std::size_t kLeastBone = 60;
  if (bone.size() < kLeastBone || body.size() < kLeastBone) return frame;
  const Axes axes = principal_axes(body);
  Vec3 head = axes.directions.col(0);
  double low = 1e30, high = -1e30;
  for (const Weighted& p : body) low = std::min(low, (p.at - axes.centre).dot(head)), high = std::max(high, (p.at - axes.centre).dot(head));
  const double length = high - low;
  const Hollow skull = skull_hollow(blocks, length, threads);
  double place = (skull.centre - axes.centre).dot(head) - 0.5 * (low + high);
  if (place < 0) head = -head, place = -place;
  const double head_clear = skull.radius_mm > 0 ? std::clamp(place / (0.25 * length), 0.0, 1.0) *
                                                      std::clamp(skull.radius_mm / (0.04 * length), 0.0, 1.0) *
                                                      std::clamp(2 - 2 * skull.next_radius_mm / skull.radius_mm, 0.0, 1.0)
                                                : 0.0;
  const Mirror mirror = find_mirror(blocks, bone, axes, head, threads);
  head = (head - head.dot(mirror.normal) * mirror.normal).normalized();
  Vec3 forward = mirror.normal.cross(head).normalized();
  const double step = 1.01 * blocks.coarse.spacing_mm.maxCoeff();
  const double skull_level = (skull.centre - mirror.point).dot(head);
  const double scale = skull.radius_mm > 0 ? skull.radius_mm : 0.07 * length;
  const double top = skull.radius_mm > 0 ? skull_level - 1.1 * scale : (axes.centre - mirror.point).dot(head) + 0.5 * length;
  const Spine spine = find_spine(bone, mirror, head, forward, std::max(0.25 * scale, step), step, top);
  const double ahead = forward_of_spine(body, spine, mirror, head, forward);
  frame.midline_lps_mm = midline_of(spine, mirror, head, forward, skull_level + scale);
  if (ahead < 0) forward = -forward;
  frame.head = head;
  frame.front = forward;
  const double front_clear = std::clamp(std::abs(ahead) / 0.25, 0.0, 1.0);
  frame.certainty = head_clear * front_clear;
  return frame;
}

}  // namespace leastharm::segment_detail
