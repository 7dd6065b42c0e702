#include "frame.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "coarse.h"
#include "imaging/material.h"
#include "parallel.h"
#include "runs.h"

namespace leastharm::segment_detail {
namespace {

/// The map in blocks: shares of bone, and of everything that belongs to the body itself.
struct Blocks {
  Grid grid;       ///< of the blocks
  Coarse coarse;
  std::vector<float> bone, body;

  [[nodiscard]] Vec3 centre(std::size_t v) const {
    const VoxelIndex b = coarse.index(v);
    return grid.lps_from_index({static_cast<double>(b.i), static_cast<double>(b.j), static_cast<double>(b.k)});
  }
};

Blocks make_blocks(const Volume<std::uint8_t>& materials, int threads) {
  Blocks out;
  const Grid& fine = materials.grid;
  out.coarse = coarse_grid(fine);
  out.grid = fine;
  out.grid.size = out.coarse.size;
  out.grid.spacing_mm = out.coarse.spacing_mm;
  const auto& f = out.coarse.factor;
  out.grid.origin_lps_mm = fine.lps_from_index(0.5 * Vec3(f[0] - 1, f[1] - 1, f[2] - 1));
  out.bone.assign(out.coarse.count(), 0);
  out.body.assign(out.coarse.count(), 0);
  const float voxel = 1.0F / static_cast<float>(f[0] * f[1] * f[2]);
  constexpr auto bone = static_cast<std::uint8_t>(Material::bone), tissue = static_cast<std::uint8_t>(Material::body),
                 packing = static_cast<std::uint8_t>(Material::packing), resin = static_cast<std::uint8_t>(Material::resin);
  for_chunks(out.coarse.size[2], 1, threads, [&](int layer, int, int) {
    for (int k = layer * f[2]; k < std::min((layer + 1) * f[2], fine.size[2]); ++k)
      for (int j = 0; j < fine.size[1]; ++j) {
        const std::uint8_t* row = materials.values.data() + fine.offset(0, j, k);
        const std::size_t at = out.coarse.offset(0, j / f[1], layer);
        for (int i = 0; i < fine.size[0]; ++i) {
          const std::size_t v = at + static_cast<std::size_t>(i / f[0]);
          if (row[i] == bone) out.bone[v] += voxel;
          if (row[i] == bone || row[i] == tissue || row[i] == packing || row[i] == resin) out.body[v] += voxel;
        }
      }
  });
  return out;
}

struct Weighted {
  Vec3 at;
  double weight = 0;
};

std::vector<Weighted> points_of(const Blocks& blocks, const std::vector<float>& share, float least) {
  std::vector<Weighted> points;
  for (std::size_t v = 0; v < share.size(); ++v)
    if (share[v] >= least) points.push_back({blocks.centre(v), share[v]});
  return points;
}

struct Axes {
  Vec3 centre{0, 0, 0};
  Mat3 directions = Mat3::Identity();   ///< columns, longest first
  Vec3 deviations_mm{0, 0, 0};
};

Axes principal_axes(const std::vector<Weighted>& points) {
  Axes axes;
  double weight = 0;
  for (const Weighted& p : points) axes.centre += p.weight * p.at, weight += p.weight;
  axes.centre /= weight;
  Mat3 spread = Mat3::Zero();
  for (const Weighted& p : points) spread += p.weight * (p.at - axes.centre) * (p.at - axes.centre).transpose();
  const Eigen::SelfAdjointEigenSolver<Mat3> solver(spread / weight);
  for (int a = 0; a < 3; ++a) {
    axes.directions.col(a) = solver.eigenvectors().col(2 - a);
    axes.deviations_mm[a] = std::sqrt(std::max(0.0, solver.eigenvalues()[2 - a]));
  }
  return axes;
}

/// The largest hollow that bone closes round: its middle and the radius of a ball of its volume.
struct Hollow {
  Vec3 centre{0, 0, 0};
  double radius_mm = 0, next_radius_mm = 0;
};

/// The faces and corners of a block: the ways one looks for bone.
std::vector<std::array<int, 3>> directions() {
  std::vector<std::array<int, 3>> out;
  for (int c = -1; c <= 1; ++c)
    for (int b = -1; b <= 1; ++b)
      for (int a = -1; a <= 1; ++a)
        if (const int along = std::abs(a) + std::abs(b) + std::abs(c); along == 1 || along == 3) out.push_back({a, b, c});
  return out;
}

/// For each block whether bone is met within `reach_mm` in one direction; in one sweep from that side.
std::vector<std::uint8_t> meets_bone(const Blocks& blocks, const std::array<int, 3>& way, double reach_mm) {
  constexpr float kBone = 0.2F;
  constexpr std::uint16_t kNever = 60000;
  const auto [w, h, d] = blocks.coarse.size;
  const auto farthest = static_cast<std::uint16_t>(reach_mm / blocks.coarse.spacing_mm.cwiseProduct(Vec3(way[0], way[1], way[2])).norm());
  std::vector<std::uint16_t> steps(blocks.coarse.count(), kNever);
  std::vector<std::uint8_t> met(blocks.coarse.count());
  const auto at = [](int n, int size, int toward) { return toward > 0 ? size - 1 - n : n; };
  for (int kk = 0; kk < d; ++kk)
    for (int jj = 0; jj < h; ++jj)
      for (int ii = 0; ii < w; ++ii) {
        const int i = at(ii, w, way[0]), j = at(jj, h, way[1]), k = at(kk, d, way[2]);
        if (!blocks.coarse.contains(i + way[0], j + way[1], k + way[2])) continue;
        const std::size_t v = blocks.coarse.offset(i, j, k), next = blocks.coarse.offset(i + way[0], j + way[1], k + way[2]);
        steps[v] = blocks.bone[next] >= kBone ? std::uint16_t{1} : static_cast<std::uint16_t>(std::min<int>(kNever, steps[next] + 1));
        met[v] = steps[v] <= farthest;
      }
  return met;
}

Hollow skull_hollow(const Blocks& blocks, double length_mm, int threads) {
  constexpr int kLeastDirections = 13;   // of 14
  const double reach = std::clamp(0.14 * length_mm, 25.0, 120.0);
  const std::vector<std::array<int, 3>> ways = directions();
  std::vector<std::vector<std::uint8_t>> met(ways.size());
  for_chunks(static_cast<int>(ways.size()), 1, threads, [&](int n, int, int) {
    met[static_cast<std::size_t>(n)] = meets_bone(blocks, ways[static_cast<std::size_t>(n)], reach);
  });
  std::vector<std::uint8_t> closed(blocks.coarse.count());
  for (std::size_t v = 0; v < closed.size(); ++v) {
    int directions_met = 0;
    for (const auto& way : met) directions_met += way[v];
    closed[v] = blocks.bone[v] < 0.1F && directions_met >= kLeastDirections;
  }
  ByteSet one{};
  one[1] = true;
  const RunPieces pieces = pieces_of(blocks.coarse.size, closed.data(), one, false, threads);
  std::vector<Weighted> sums(static_cast<std::size_t>(pieces.pieces), {Vec3::Zero(), 0});
  for (const Run& run : pieces.runs)
    for (int i = run.first; i <= run.last; ++i) {
      Weighted& s = sums[static_cast<std::size_t>(run.piece)];
      s.at += blocks.centre(blocks.coarse.offset(i, run.j, run.k));
      s.weight += 1;
    }
  std::stable_sort(sums.begin(), sums.end(), [](const Weighted& a, const Weighted& b) { return a.weight > b.weight; });
  const auto radius = [&](const Weighted& s) {
    return std::cbrt(s.weight * blocks.coarse.spacing_mm.prod() * 0.75 / std::numbers::pi);
  };
  Hollow hollow;
  if (!sums.empty()) hollow.centre = sums[0].at / sums[0].weight, hollow.radius_mm = radius(sums[0]);
  if (sums.size() > 1) hollow.next_radius_mm = radius(sums[1]);
  return hollow;
}

/// Shares of bone spread over neighbouring blocks, looked up by place.
class Field {
 public:
  Field(const Blocks& blocks, const std::vector<float>& share, int rounds) : blocks_(blocks), values_(share) {
    for (int r = 0; r < rounds; ++r)
      for (std::size_t a = 0; a < 3; ++a) blur(a);
  }
  /// The value of the nearest block; 0 outside.
  [[nodiscard]] float at(float i, float j, float k) const {
    const auto& n = blocks_.coarse.size;
    const int a = static_cast<int>(i + 0.5F), b = static_cast<int>(j + 0.5F), c = static_cast<int>(k + 0.5F);
    const bool there = i > -0.5F && j > -0.5F && k > -0.5F && a < n[0] && b < n[1] && c < n[2];
    return there ? values_[blocks_.coarse.offset(a, b, c)] : 0.0F;
  }

 private:
  void blur(std::size_t axis) {
    const auto& n = blocks_.coarse.size;
    const std::size_t stride = axis == 0 ? 1 : axis == 1 ? static_cast<std::size_t>(n[0]) : static_cast<std::size_t>(n[0]) * static_cast<std::size_t>(n[1]);
    std::vector<float> out(values_.size());
    for (std::size_t v = 0; v < values_.size(); ++v) {
      const VoxelIndex b = blocks_.coarse.index(v);
      const int at = axis == 0 ? b.i : axis == 1 ? b.j : b.k;
      const float before = at > 0 ? values_[v - stride] : 0, after = at + 1 < n[axis] ? values_[v + stride] : 0;
      out[v] = 0.25F * before + 0.5F * values_[v] + 0.25F * after;
    }
    values_ = std::move(out);
  }

  const Blocks& blocks_;
  std::vector<float> values_;
};

/// A plane by its unit normal and a point.
struct Mirror {
  Vec3 normal{1, 0, 0};
  Vec3 point{0, 0, 0};
  double score = -1;
};

/// Points of bone as they are mirrored thousands of times: where they lie from a centre, and their block's index.
class Mirrored {
 public:
  Mirrored(const std::vector<Weighted>& points, const Blocks& blocks, const Vec3& centre)
      : to_index_(blocks.grid.spacing_mm.cwiseInverse().asDiagonal() * blocks.grid.direction.transpose()), centre_(centre) {
    for (const Weighted& p : points) {
      const Vec3 index = to_index_ * (p.at - blocks.grid.origin_lps_mm);
      points_.push_back({(p.at - centre).cast<float>(), index.cast<float>(), static_cast<float>(p.weight)});
    }
  }
  /// How much bone meets bone.
  [[nodiscard]] double score(const Field& field, const Vec3& normal, const Vec3& point) const {
    const Eigen::Vector3f n = normal.cast<float>(), step = (2 * to_index_ * normal).cast<float>();
    const auto offset = static_cast<float>(normal.dot(point - centre_));
    double score = 0;
    for (const Point& p : points_) {
      const float away = n.dot(p.from_centre) - offset;
      const Eigen::Vector3f index = p.index - away * step;
      score += static_cast<double>(p.weight * field.at(index.x(), index.y(), index.z()));
    }
    return score;
  }

 private:
  struct Point {
    Eigen::Vector3f from_centre, index;
    float weight;
  };
  Mat3 to_index_;
  Vec3 centre_;
  std::vector<Point> points_;
};

/// Tries planes near one: turned about the head axis by `turn`, tilted by `tilt`, and moved by `move`, each by -n..n steps.
void search_mirror(const Mirrored& points, const Field& field, const Vec3& head, double turn, int turns,
                   double tilt, int tilts, double move, int moves, Mirror& best) {
  const Mirror start = best;
  const Vec3 across = head.cross(start.normal).normalized();
  for (int t = -turns; t <= turns; ++t)
    for (int u = -tilts; u <= tilts; ++u) {
      const Vec3 turned = std::cos(t * turn) * start.normal + std::sin(t * turn) * across;
      const Vec3 normal = (std::cos(u * tilt) * turned + std::sin(u * tilt) * head).normalized();
      for (int m = -moves; m <= moves; ++m) {
        const Vec3 point = start.point + m * move * normal;
        const double score = points.score(field, normal, point);
        if (score > best.score) best = {normal, point, score};
      }
    }
}

std::vector<Weighted> thinned(const std::vector<Weighted>& points, std::size_t most) {
  const std::size_t step = points.size() / most + 1;
  std::vector<Weighted> out;
  for (std::size_t n = 0; n < points.size(); n += step) out.push_back(points[n]);
  return out;
}

Mirror find_mirror(const Blocks& blocks, const std::vector<Weighted>& bone, const Axes& axes, const Vec3& head) {
  const Mirrored few(thinned(bone, 5000), blocks, axes.centre);
  const Field wide(blocks, blocks.bone, 3), narrow(blocks, blocks.bone, 1);
  const double step = blocks.coarse.spacing_mm.maxCoeff();
  Mirror best{axes.directions.col(1), axes.centre, -1};
  const double degree = std::numbers::pi / 180;
  search_mirror(few, wide, head, 6 * degree, 15, 1, 0, 2 * step, 4, best);
  best.score = -1;
  search_mirror(few, wide, head, 2 * degree, 3, 3 * degree, 3, step, 2, best);
  best.score = -1;
  search_mirror(few, narrow, head, 0.7 * degree, 3, 1 * degree, 3, 0.4 * step, 3, best);
  return best;
}

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
  const Mirror mirror = find_mirror(blocks, bone, axes, head);
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
