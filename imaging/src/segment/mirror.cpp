#include "mirror.h"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <utility>

#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

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
                   double tilt, int tilts, double move, int moves, int threads, Mirror& best) {
  const Mirror start = best;
  const Vec3 across = head.cross(start.normal).normalized();
  std::vector<Mirror> found(static_cast<std::size_t>(2 * turns + 1), best);   // the best of each turn
  for_chunks(2 * turns + 1, 1, threads, [&](int n, int, int) {
    const int t = n - turns;
    Mirror& nearest = found[static_cast<std::size_t>(n)];
    for (int u = -tilts; u <= tilts; ++u) {
      const Vec3 turned = std::cos(t * turn) * start.normal + std::sin(t * turn) * across;
      const Vec3 normal = (std::cos(u * tilt) * turned + std::sin(u * tilt) * head).normalized();
      for (int m = -moves; m <= moves; ++m) {
        const Vec3 point = start.point + m * move * normal;
        const double score = points.score(field, normal, point);
        if (score > nearest.score) nearest = {normal, point, score};
      }
    }
  });
  for (const Mirror& m : found)
    if (m.score > best.score) best = m;
}

std::vector<Weighted> thinned(const std::vector<Weighted>& points, std::size_t most) {
  const std::size_t step = points.size() / most + 1;
  std::vector<Weighted> out;
  for (std::size_t n = 0; n < points.size(); n += step) out.push_back(points[n]);
  return out;
}

}  // namespace

Mirror find_mirror(const Blocks& blocks, const std::vector<Weighted>& bone, const Axes& axes, const Vec3& head, int threads) {
  const Mirrored few(thinned(bone, 5000), blocks, axes.centre);
  const Field wide(blocks, blocks.bone, 3), narrow(blocks, blocks.bone, 1);
  const double step = blocks.coarse.spacing_mm.maxCoeff();
  Mirror best{axes.directions.col(1), axes.centre, -1};
  const double degree = std::numbers::pi / 180;
  search_mirror(few, wide, head, 6 * degree, 15, 1, 0, 2 * step, 4, threads, best);
  best.score = -1;
  search_mirror(few, wide, head, 2 * degree, 3, 3 * degree, 3, step, 2, threads, best);
  best.score = -1;
  search_mirror(few, narrow, head, 0.7 * degree, 3, 1 * degree, 3, 0.4 * step, 3, threads, best);
  return best;
}

}  // namespace leastharm::segment_detail
