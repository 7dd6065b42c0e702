#include <algorithm>
#include <utility>

#include "parallel.h"
#include "shape.h"

namespace leastharm::phantom {
namespace {

struct Node {
  float at = 0, height = 0;
};

class Baked final : public Shape {
 public:
  Baked(const Shape& shape, const Box& region, double step_mm, unsigned threads)
      : box_(shape.box().within(region)), low_(region.low.array() - step_mm), step_(step_mm) {
    for (int axis = 0; axis < 3; ++axis)
      size_[axis] = static_cast<int>(std::ceil((region.high[axis] - low_[axis]) / step_)) + 2;
    nodes_.resize(static_cast<std::size_t>(size_[0]) * size_[1] * size_[2]);
    for_each_piece(size_[2], threads, [&](int k) { fill(shape, k); });
    for_each_piece(size_[2], threads, [&](int k) { add_heights(k); });
  }

  double at(const Vec3& p) const override { return look_up(p, &Node::at); }
  double height(const Vec3& p) const override { return look_up(p, &Node::height); }
  Box box() const override { return box_; }

 private:
  [[nodiscard]] std::size_t place(int i, int j, int k) const {
    return static_cast<std::size_t>(i) + static_cast<std::size_t>(size_[0]) * (j + static_cast<std::size_t>(size_[1]) * k);
  }
  void fill(const Shape& shape, int k) {
    for (int j = 0; j < size_[1]; ++j)
      for (int i = 0; i < size_[0]; ++i)
        nodes_[place(i, j, k)].at = static_cast<float>(shape.at(low_ + step_ * Vec3(i, j, k)));
  }
  // Height to first order: the value over its slope. The slope is taken from the lattice itself.
  void add_heights(int k) {
    const auto slope = [&](int i, int j, int di, int dj, int dk) {
      const int i0 = std::max(i - di, 0), j0 = std::max(j - dj, 0), k0 = std::max(k - dk, 0);
      const int i1 = std::min(i + di, size_[0] - 1), j1 = std::min(j + dj, size_[1] - 1),
                k1 = std::min(k + dk, size_[2] - 1);
      const double way = step_ * std::max({i1 - i0, j1 - j0, k1 - k0});
      return (nodes_[place(i1, j1, k1)].at - nodes_[place(i0, j0, k0)].at) / way;
    };
    for (int j = 0; j < size_[1]; ++j)
      for (int i = 0; i < size_[0]; ++i) {
        const double steep = Vec3(slope(i, j, 1, 0, 0), slope(i, j, 0, 1, 0), slope(i, j, 0, 0, 1)).norm();
        Node& node = nodes_[place(i, j, k)];
        node.height = static_cast<float>(node.at / std::max(steep, 0.2));
      }
  }
  [[nodiscard]] double look_up(const Vec3& p, float Node::*member) const {
    const Vec3 q = (p - low_) / step_;
    std::array<int, 3> n{};
    std::array<double, 3> t{};
    for (int axis = 0; axis < 3; ++axis) {
      const double c = std::clamp(q[axis], 0.0, size_[axis] - 1.001);
      n[axis] = static_cast<int>(c);
      t[axis] = c - n[axis];
    }
    const Node* base = &nodes_[place(n[0], n[1], n[2])];
    const std::size_t dj = size_[0], dk = static_cast<std::size_t>(size_[0]) * size_[1];
    const auto along = [&](std::size_t offset) {
      const double a = base[offset].*member;
      return a + t[0] * (base[offset + 1].*member - a);
    };
    const double a = along(0), b = along(dj), c = along(dk), d = along(dj + dk);
    const double low = a + t[1] * (b - a), high = c + t[1] * (d - c);
    return low + t[2] * (high - low);
  }

  Box box_;
  Vec3 low_;
  double step_;
  std::array<int, 3> size_{};
  std::vector<Node> nodes_;
};

}  // namespace

ShapePtr baked(const ShapePtr& shape, const Box& region, double step_mm, unsigned threads) {
  return std::make_shared<Baked>(*shape, region, step_mm, threads);
}

}  // namespace leastharm::phantom
