#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <vector>

namespace leastharm {

/// By point of a layer.
using LayerFlags = std::vector<std::uint8_t>;

/// For each point of a layer what the cheapest needle displaces that has come within a step of it, its direction changing
/// within a sheaf as it goes: weight x length, mm. Carried on from layer to layer. Holds on any lattice and loses what a
/// surface rises within a few steps.
class WanderingCosts {
 public:
  static constexpr float kNoEntry = std::numeric_limits<float>::infinity();

  struct Setting {
    std::array<int, 2> size{0, 0};           ///< points of a layer
    std::array<double, 2> slope{0, 0};       ///< of the sheaf
    double along_mm = 1, across_mm = 1;      ///< between layers; between points
    double most_touch_mm = 0;                ///< how far an admissible needle may touch the object before its axis enters
    float cap_mm = 0;                        ///< costs over this are not told apart
    bool has_openings = false;
  };
  WanderingCosts() = default;
  /// Nothing has been met yet; `free` where a hand has room whose needle passes within a step of the point.
  WanderingCosts(const Setting& setting, const LayerFlags& free);

  /// Axes within a step of a point may enter the object here, through a hole that is dearer than a square one by as much at
  /// least; kNoEntry where none may.
  void enter(const std::vector<float>& dearer);
  /// Axes within a step of these points may be in an opening here.
  void open(const LayerFlags& here);
  /// On to the next layer, over the weights half-way, which are used up; `any`: there are some.
  void advance(std::vector<float>& weights, bool any);
  /// What needles that end in this layer displace at least ...
  [[nodiscard]] std::vector<float> costs();
  /// ... and whether they may have come through an opening; empty without openings.
  [[nodiscard]] LayerFlags opened() const;
  /// Whether some needle at a point still waits to enter.
  [[nodiscard]] bool waits(std::size_t n) const { return outside_[n] < cost_[n]; }
  /// Whether these points cost more than is told apart already.
  [[nodiscard]] bool is_spent(std::size_t first, std::size_t count) const;
  /// How far from the border, in points, nothing is known.
  [[nodiscard]] const std::array<int, 2>& rim() const { return drifts_; }

 private:
  void drift();
  void least_along(int axis, std::vector<float>& values);
  void spread_along(int axis, LayerFlags& flags) const;

  Setting s_;
  std::vector<float> outside_, touching_;   // of needles that have not entered: what they displace, and how far they have touched
  std::vector<float> cost_;                 // of those that have
  std::vector<float> spare_;
  LayerFlags through_;
  std::array<int, 2> drifts_{0, 0};
  std::array<double, 2> off_{0, 0};         // how far directions may have wandered since the last drift, mm
};

}  // namespace leastharm
