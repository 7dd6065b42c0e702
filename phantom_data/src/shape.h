#pragma once

#include <memory>
#include <vector>

#include "imaging/grid.h"
#include "noise.h"

namespace leastharm::phantom {

/// An upright box in the shape's own frame, mm.
struct Box {
  Vec3 low{0, 0, 0}, high{0, 0, 0};

  [[nodiscard]] Box grown(double mm) const { return {low.array() - mm, high.array() + mm}; }
  [[nodiscard]] Box with(const Box& other) const {
    return {low.cwiseMin(other.low), high.cwiseMax(other.high)};
  }
  [[nodiscard]] Box within(const Box& other) const {
    return {low.cwiseMax(other.low), high.cwiseMin(other.high)};
  }
  [[nodiscard]] bool meets(const Box& other) const {
    return (low.array() <= other.high.array()).all() && (high.array() >= other.low.array()).all();
  }
  /// Squared distance of a point; 0 inside.
  [[nodiscard]] double squared_way(const Vec3& p) const {
    return (low - p).cwiseMax(p - high).cwiseMax(0.0).squaredNorm();
  }
  [[nodiscard]] Vec3 centre() const { return 0.5 * (low + high); }
};

/// An implicit solid, immutable.
class Shape {
 public:
  virtual ~Shape() = default;
  /// Negative inside. Changes by at most about 1 per mm, so its size is a safe step towards the surface.
  [[nodiscard]] virtual double at(const Vec3& p) const = 0;
  /// Height over the surface, mm, negative inside; good near the surface, where `at` may be too small.
  [[nodiscard]] virtual double height(const Vec3& p) const { return at(p); }
  [[nodiscard]] virtual Box box() const = 0;
};
using ShapePtr = std::shared_ptr<const Shape>;

/// Rotation, uniform scale and shift: p -> turn (scale p) + shift.
struct Move {
  Mat3 turn = Mat3::Identity();
  Vec3 shift{0, 0, 0};
  double scale = 1;

  [[nodiscard]] Vec3 apply(const Vec3& p) const { return turn * (scale * p) + shift; }
  [[nodiscard]] Vec3 undo(const Vec3& p) const { return turn.transpose() * (p - shift) / scale; }
  /// The move that does `first`, then this.
  [[nodiscard]] Move after(const Move& first) const {
    return {turn * first.turn, apply(first.shift), scale * first.scale};
  }
  [[nodiscard]] Box apply(const Box& box) const;
};

/// Turned about x, then y, then z, by degrees.
[[nodiscard]] Mat3 turn_deg(const Vec3& degrees);

[[nodiscard]] ShapePtr ellipsoid(const Vec3& centre, const Vec3& radii,
                                 const Mat3& axes = Mat3::Identity());
[[nodiscard]] ShapePtr block(const Vec3& centre, const Vec3& half,
                             const Mat3& axes = Mat3::Identity());
/// The half of space that `outward` points away from, within a box.
[[nodiscard]] ShapePtr half_space(const Vec3& point, const Vec3& outward, const Box& within);
/// A triangle with thickness and round edges.
[[nodiscard]] ShapePtr plate(const Vec3& a, const Vec3& b, const Vec3& c, double thickness);

/// A point of a tube's axis with its half widths: along `side`, and square to side and axis.
struct TubePoint {
  Vec3 at;
  double wide = 1, flat = 1;
};
/// One straight stretch of a tapered tube of elliptic section with round ends; `side` need not be square to the axis.
[[nodiscard]] ShapePtr stretch(const TubePoint& a, const TubePoint& b, const Vec3& side);
/// A whole tube as one solid.
[[nodiscard]] ShapePtr tube(const std::vector<TubePoint>& points, const Vec3& side);
/// An elliptic cylinder with flat ends: a vertebral body, a disc.
[[nodiscard]] ShapePtr drum(const Vec3& centre, const Vec3& axis, const Vec3& side, double half_side,
                            double half_other, double half_height);

[[nodiscard]] ShapePtr united(std::vector<ShapePtr> shapes, double blend_mm = 0);
[[nodiscard]] ShapePtr common(ShapePtr a, ShapePtr b);
[[nodiscard]] ShapePtr cut(ShapePtr from, ShapePtr away);
[[nodiscard]] ShapePtr grown(ShapePtr shape, double mm);
/// The skin of a shape, from `inner_mm` under its surface up to its surface.
[[nodiscard]] ShapePtr shell(ShapePtr shape, double thickness_mm);
/// The surface moved in and out by smooth noise of about `amplitude_mm` and the given wavelength.
[[nodiscard]] ShapePtr rough(ShapePtr shape, std::shared_ptr<const NoiseTile> tile,
                             double amplitude_mm, double scale_mm);
[[nodiscard]] ShapePtr moved(ShapePtr shape, const Move& move);
/// The same shape, looked up in a lattice of `step_mm` over `region`: quick, and with a true `height`.
[[nodiscard]] ShapePtr baked(const ShapePtr& shape, const Box& region, double step_mm,
                             unsigned threads);
/// Everything up to `mm` above a shape (by its `height`), give or take smooth noise.
[[nodiscard]] ShapePtr swollen(ShapePtr shape, double mm, std::shared_ptr<const NoiseTile> tile,
                               double amplitude_mm, double scale_mm);

/// A cross-section of a body at one level: half widths to the sides, the front and the back, and the exponent of
/// the superellipse (2: ellipse, more: squarer).
struct Station {
  double z = 0, centre_y = 0, side = 1, front = 1, back = 1, exponent = 2;
};
/// A body that runs along z with smoothly changing sections; stations by rising z.
class Loft : public Shape {
 public:
  explicit Loft(const std::vector<Station>& stations);
  [[nodiscard]] double at(const Vec3& p) const override;
  [[nodiscard]] Box box() const override { return box_; }
  /// The section at a level, held at the ends.
  [[nodiscard]] Station section(double z) const;
  /// The point of the surface at level z and `angle` from the back over the left side to the front (pi),
  /// `inset_mm` under it.
  [[nodiscard]] Vec3 surface(double angle, double z, double inset_mm) const;

 private:
  std::vector<Station> table_;   // every millimetre
  Box box_;
};

}  // namespace leastharm::phantom
