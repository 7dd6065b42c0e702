#include "shape.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <numbers>
#include <utility>

namespace leastharm::phantom {
namespace {

class Ellipsoid final : public Shape {
 public:
  Ellipsoid(const Vec3& centre, const Vec3& radii, const Mat3& axes)
      : centre_(centre), radii_(radii), axes_(axes), least_(radii.minCoeff()) {}
  double at(const Vec3& p) const override {
    return ((axes_.transpose() * (p - centre_)).cwiseQuotient(radii_).norm() - 1) * least_;
  }
  Box box() const override {
    const Vec3 half = axes_.cwiseAbs() * radii_;
    return {centre_ - half, centre_ + half};
  }

 private:
  Vec3 centre_, radii_;
  Mat3 axes_;
  double least_;
};

class Block final : public Shape {
 public:
  Block(const Vec3& centre, const Vec3& half, const Mat3& axes)
      : centre_(centre), half_(half), axes_(axes) {}
  double at(const Vec3& p) const override {
    const Vec3 over = (axes_.transpose() * (p - centre_)).cwiseAbs() - half_;
    return over.cwiseMax(0.0).norm() + std::min(over.maxCoeff(), 0.0);
  }
  Box box() const override {
    const Vec3 half = axes_.cwiseAbs() * half_;
    return {centre_ - half, centre_ + half};
  }

 private:
  Vec3 centre_, half_;
  Mat3 axes_;
};

class HalfSpace final : public Shape {
 public:
  HalfSpace(const Vec3& point, const Vec3& outward, const Box& within)
      : point_(point), outward_(outward.normalized()), box_(within) {}
  double at(const Vec3& p) const override { return outward_.dot(p - point_); }
  Box box() const override { return box_; }

 private:
  Vec3 point_, outward_;
  Box box_;
};

class Plate final : public Shape {
 public:
  Plate(const Vec3& a, const Vec3& b, const Vec3& c, double thickness)
      : corners_{a, b, c}, normal_((b - a).cross(c - a).normalized()), half_(0.5 * thickness) {}
  double at(const Vec3& p) const override {
    bool over_face = true;
    double edge = 1e30;
    for (std::size_t n = 0; n < 3; ++n) {
      const Vec3 along = corners_[(n + 1) % 3] - corners_[n], q = p - corners_[n];
      if (along.cross(normal_).dot(q) > 0) over_face = false;
      const double t = std::clamp(q.dot(along) / along.squaredNorm(), 0.0, 1.0);
      edge = std::min(edge, (q - t * along).norm());
    }
    return (over_face ? std::abs(normal_.dot(p - corners_[0])) : edge) - half_;
  }
  Box box() const override {
    const Box bare{corners_[0].cwiseMin(corners_[1]).cwiseMin(corners_[2]),
                   corners_[0].cwiseMax(corners_[1]).cwiseMax(corners_[2])};
    return bare.grown(half_);
  }

 private:
  std::array<Vec3, 3> corners_;
  Vec3 normal_;
  double half_;
};

class Stretch final : public Shape {
 public:
  Stretch(const TubePoint& a, const TubePoint& b, const Vec3& side) : a_(a), b_(b) {
    const Vec3 along = b.at - a.at;
    length_ = std::max(along.norm(), 1e-9);
    axis_ = along / length_;
    side_ = (side - side.dot(axis_) * axis_).normalized();
    other_ = axis_.cross(side_);
  }
  double at(const Vec3& p) const override {
    const Vec3 q = p - a_.at;
    const double along = q.dot(axis_), h = std::clamp(along / length_, 0.0, 1.0);
    const double wide = a_.wide + h * (b_.wide - a_.wide), flat = a_.flat + h * (b_.flat - a_.flat);
    const double least = std::min(wide, flat), beyond = (along - h * length_) / least;
    const double u = q.dot(side_) / wide, v = q.dot(other_) / flat;
    return (std::sqrt(u * u + v * v + beyond * beyond) - 1) * least;
  }
  Box box() const override {
    const Box ends{a_.at.cwiseMin(b_.at), a_.at.cwiseMax(b_.at)};
    return ends.grown(std::max({a_.wide, a_.flat, b_.wide, b_.flat}));
  }

 private:
  TubePoint a_, b_;
  Vec3 axis_, side_, other_;
  double length_ = 0;
};

class Drum final : public Shape {
 public:
  Drum(const Vec3& centre, const Vec3& axis, const Vec3& side, const Vec3& half)
      : centre_(centre), half_(half), least_(std::min(half.x(), half.y())) {
    axes_.col(2) = axis.normalized();
    axes_.col(0) = (side - side.dot(axes_.col(2)) * axes_.col(2)).normalized();
    axes_.col(1) = axes_.col(2).cross(axes_.col(0));
  }
  double at(const Vec3& p) const override {
    const Vec3 q = axes_.transpose() * (p - centre_);
    const double round = (std::hypot(q.x() / half_.x(), q.y() / half_.y()) - 1) * least_;
    return std::max(round, std::abs(q.z()) - half_.z());
  }
  Box box() const override {
    const Vec3 half = axes_.cwiseAbs() * half_;
    return {centre_ - half, centre_ + half};
  }

 private:
  Vec3 centre_, half_;
  double least_;
  Mat3 axes_;
};

class United final : public Shape {
 public:
  United(std::vector<ShapePtr> shapes, double blend_mm)
      : shapes_(std::move(shapes)), blend_(blend_mm), box_(shapes_.front()->box()) {
    for (const ShapePtr& shape : shapes_) {
      boxes_.push_back(shape->box());
      box_ = box_.with(boxes_.back());
    }
    box_ = box_.grown(0.25 * blend_);
  }
  // The quadratic smooth minimum: hollows fill over about `blend_`, nothing moves faster than its parts.
  double at(const Vec3& p) const override {
    double least = shapes_.front()->at(p);
    for (std::size_t n = 1; n < shapes_.size(); ++n) {
      // A shape's value may be as low as a quarter of the way to it; beyond that it has no say.
      const double reach = 4 * (std::max(least, 0.0) + blend_);
      if (boxes_[n].squared_way(p) > reach * reach) continue;
      const double next = shapes_[n]->at(p);
      const double h = blend_ > 0 ? std::max(blend_ - std::abs(least - next), 0.0) / blend_ : 0.0;
      least = std::min(least, next) - 0.25 * h * h * blend_;
    }
    return least;
  }
  Box box() const override { return box_; }

 private:
  std::vector<ShapePtr> shapes_;
  std::vector<Box> boxes_;
  double blend_;
  Box box_;
};

class Common final : public Shape {
 public:
  Common(ShapePtr a, ShapePtr b) : a_(std::move(a)), b_(std::move(b)), box_(a_->box().within(b_->box())) {}
  double at(const Vec3& p) const override { return std::max(a_->at(p), b_->at(p)); }
  Box box() const override { return box_; }

 private:
  ShapePtr a_, b_;
  Box box_;
};

class Cut final : public Shape {
 public:
  Cut(ShapePtr from, ShapePtr away) : from_(std::move(from)), away_(std::move(away)) {}
  double at(const Vec3& p) const override { return std::max(from_->at(p), -away_->at(p)); }
  Box box() const override { return from_->box(); }

 private:
  ShapePtr from_, away_;
};

class Grown final : public Shape {
 public:
  Grown(ShapePtr shape, double mm) : shape_(std::move(shape)), mm_(mm) {}
  double at(const Vec3& p) const override { return shape_->at(p) - mm_; }
  double height(const Vec3& p) const override { return shape_->height(p) - mm_; }
  Box box() const override { return shape_->box().grown(std::max(0.0, mm_) * 1.5); }

 private:
  ShapePtr shape_;
  double mm_;
};

class Rough final : public Shape {
 public:
  Rough(ShapePtr shape, std::shared_ptr<const NoiseTile> tile, double amplitude_mm, double scale_mm)
      : shape_(std::move(shape)),
        tile_(std::move(tile)),
        amplitude_(amplitude_mm),
        scale_(scale_mm),
        slowed_(1 / (1 + 1.5 * amplitude_mm / scale_mm)) {}
  double at(const Vec3& p) const override {
    return (shape_->at(p) + amplitude_ * tile_->at(p / scale_)) * slowed_;
  }
  Box box() const override { return shape_->box().grown(3.5 * amplitude_); }

 private:
  ShapePtr shape_;
  std::shared_ptr<const NoiseTile> tile_;
  double amplitude_, scale_, slowed_;
};

class Swollen final : public Shape {
 public:
  Swollen(ShapePtr shape, double mm, std::shared_ptr<const NoiseTile> tile, double amplitude_mm,
          double scale_mm)
      : shape_(std::move(shape)),
        tile_(std::move(tile)),
        mm_(mm),
        amplitude_(amplitude_mm),
        scale_(scale_mm) {}
  // Far from the surface the height may change faster than the way, so both are heeded.
  double at(const Vec3& p) const override {
    const double h = height(p);
    return h > 0 ? 0.6 * h : std::max(0.6 * h, shape_->at(p) - 0.5 * mm_);
  }
  double height(const Vec3& p) const override {
    return shape_->height(p) - mm_ - amplitude_ * tile_->at(p / scale_);
  }
  Box box() const override { return shape_->box().grown(mm_ + 3.5 * amplitude_); }

 private:
  ShapePtr shape_;
  std::shared_ptr<const NoiseTile> tile_;
  double mm_, amplitude_, scale_;
};

class Moved final : public Shape {
 public:
  Moved(ShapePtr shape, const Move& move) : shape_(std::move(shape)), move_(move) {}
  double at(const Vec3& p) const override { return move_.scale * shape_->at(move_.undo(p)); }
  double height(const Vec3& p) const override { return move_.scale * shape_->height(move_.undo(p)); }
  Box box() const override { return move_.apply(shape_->box()); }

 private:
  ShapePtr shape_;
  Move move_;
};

}  // namespace

Box Move::apply(const Box& box) const {
  const Vec3 centre = apply(box.centre());
  const Vec3 half = turn.cwiseAbs() * (0.5 * scale * (box.high - box.low));
  return {centre - half, centre + half};
}

Mat3 turn_deg(const Vec3& degrees) {
  const Vec3 angle = degrees * std::numbers::pi / 180;
  return (Eigen::AngleAxisd(angle.z(), Vec3::UnitZ()) * Eigen::AngleAxisd(angle.y(), Vec3::UnitY()) *
          Eigen::AngleAxisd(angle.x(), Vec3::UnitX()))
      .toRotationMatrix();
}

ShapePtr ellipsoid(const Vec3& centre, const Vec3& radii, const Mat3& axes) {
  return std::make_shared<Ellipsoid>(centre, radii, axes);
}
ShapePtr block(const Vec3& centre, const Vec3& half, const Mat3& axes) {
  return std::make_shared<Block>(centre, half, axes);
}
ShapePtr half_space(const Vec3& point, const Vec3& outward, const Box& within) {
  return std::make_shared<HalfSpace>(point, outward, within);
}
ShapePtr plate(const Vec3& a, const Vec3& b, const Vec3& c, double thickness) {
  return std::make_shared<Plate>(a, b, c, thickness);
}
ShapePtr stretch(const TubePoint& a, const TubePoint& b, const Vec3& side) {
  return std::make_shared<Stretch>(a, b, side);
}
ShapePtr tube(const std::vector<TubePoint>& points, const Vec3& side) {
  std::vector<ShapePtr> stretches;
  for (std::size_t n = 1; n < points.size(); ++n)
    stretches.push_back(stretch(points[n - 1], points[n], side));
  return united(std::move(stretches));
}
ShapePtr drum(const Vec3& centre, const Vec3& axis, const Vec3& side, double half_side,
              double half_other, double half_height) {
  return std::make_shared<Drum>(centre, axis, side, Vec3(half_side, half_other, half_height));
}
ShapePtr united(std::vector<ShapePtr> shapes, double blend_mm) {
  return std::make_shared<United>(std::move(shapes), blend_mm);
}
ShapePtr common(ShapePtr a, ShapePtr b) { return std::make_shared<Common>(std::move(a), std::move(b)); }
ShapePtr cut(ShapePtr from, ShapePtr away) { return std::make_shared<Cut>(std::move(from), std::move(away)); }
ShapePtr grown(ShapePtr shape, double mm) { return std::make_shared<Grown>(std::move(shape), mm); }
ShapePtr shell(ShapePtr shape, double thickness_mm) {
  return cut(shape, grown(shape, -thickness_mm));
}
ShapePtr rough(ShapePtr shape, std::shared_ptr<const NoiseTile> tile, double amplitude_mm,
               double scale_mm) {
  return std::make_shared<Rough>(std::move(shape), std::move(tile), amplitude_mm, scale_mm);
}
ShapePtr swollen(ShapePtr shape, double mm, std::shared_ptr<const NoiseTile> tile,
                 double amplitude_mm, double scale_mm) {
  return std::make_shared<Swollen>(std::move(shape), mm, std::move(tile), amplitude_mm, scale_mm);
}
ShapePtr moved(ShapePtr shape, const Move& move) {
  if (move.turn == Mat3::Identity() && move.shift == Vec3::Zero() && move.scale == 1) return shape;
  return std::make_shared<Moved>(std::move(shape), move);
}

}  // namespace leastharm::phantom
