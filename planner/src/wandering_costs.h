#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <vector>

namespace leastharm {

/// By point of a layer.
using LayerFlags = std::vector<std::uint8_t>;

/// Sets every flag beside one that is set along an axis of a layer.
void spread(LayerFlags& flags, const std::array<int, 2>& size, int axis);

/// Points of a layer: from the first along either axis to before the end.
struct LayerWindow {
  std::array<int, 2> first{0, 0}, end{0, 0};

  [[nodiscard]] bool empty() const { return end[0] <= first[0] || end[1] <= first[1]; }
  [[nodiscard]] std::size_t count() const { return empty() ? 0 : static_cast<std::size_t>(end[0] - first[0]) * static_cast<std::size_t>(end[1] - first[1]); }
  /// By so many points on all sides, as far as `bounds` go.
  [[nodiscard]] LayerWindow grown(int points, const LayerWindow& bounds) const;
};

/// How far a lattice's points lie apart for the disc over which weights are averaged, and so what is done about what lies between them.
enum class Spacing {
  fine,       ///< weights are as good as linear between points, but for narrow valleys
  middling,   ///< they may bend between points
  coarse      ///< they may do anything: each point is given the least of its cell
};

/// For each point of a layer what the cheapest needle displaces that comes to it: weight x length, mm. Carried on from layer
/// to layer. A way along lattice points steps aside along either axis no oftener than a direction of the sheaf may. On a fine
/// lattice a straight axis is a mean of such ways, on a coarse one it runs through the cells of one of them (DEVELOPERS.md, "The
/// score, and the certificate"): none of the sheaf's needles costs less than the least of them. Weights at points are lowered by
/// what those between them may be less.
class WanderingCosts {
 public:
  static constexpr float kNoEntry = std::numeric_limits<float>::infinity();

  struct Setting {
    std::array<int, 2> size{0, 0};           ///< points of a layer
    std::array<double, 2> slope{0, 0};       ///< of the sheaf
    double along_mm = 1, across_mm = 1;      ///< between layers; between points
    double most_touch_mm = 0;                ///< how far an admissible needle may touch the object before its axis enters
    float cap_mm = 0;                        ///< costs over this are not told apart
    Spacing spacing = Spacing::fine;
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
  /// Looks where anything is still to be told: all else is spent, and only what lies in this window is carried on.
  void look_for_unspent();
  [[nodiscard]] const LayerWindow& unspent() const { return unspent_; }
  /// On to the next layer, over the weights half-way, which are used up; `any`: there are some. Weights count in and two points round
  /// about the window.
  void advance(std::vector<float>& weights, bool any);
  /// What needles that end in this layer displace at least ...
  [[nodiscard]] std::vector<float> costs();
  /// ... and whether they may have come through an opening; empty without openings.
  [[nodiscard]] const LayerFlags& opened() const { return through_; }
  /// Whether these points cost more than is told apart already.
  [[nodiscard]] bool is_spent(std::size_t first, std::size_t count) const;

 private:
  /// What needles displace that have not entered, and those that have; by whether they stepped aside since they last might
  /// (1 along the first axis, 2 along the second). Those that did cost no more: standing still counts as a step.
  struct Way {
    std::vector<float> outside, cost;
  };

  /// Calls visit(begin, end) for the points of each row of a window.
  template <typename Visit>
  void for_each_row(const LayerWindow& window, const Visit& visit) const {
    const auto width = static_cast<std::size_t>(s_.size[0]);
    for (int j = window.first[1]; j < window.end[1]; ++j) {
      const std::size_t row = width * static_cast<std::size_t>(j);
      visit(row + static_cast<std::size_t>(window.first[0]), row + static_cast<std::size_t>(window.end[0]));
    }
  }
  [[nodiscard]] LayerWindow layer() const { return {{0, 0}, s_.size}; }
  [[nodiscard]] LayerWindow known() const;
  [[nodiscard]] bool is_unspent(int i, int j) const;
  void forget_rim();
  void lower_between_points(std::vector<float>& weights);
  void touch(const std::vector<float>& weights);
  void step_aside(int axis);
  void may_step_again(int axis);
  /// Sets each value of `to` in a window to the least of itself and of `from` there and beside it along one axis.
  void least_into(int axis, const LayerWindow& window, const std::vector<float>& from, std::vector<float>& to) const;
  void least_along(int axis, const LayerWindow& window, std::vector<float>& values);
  void least_around(std::vector<float>& weights);

  Setting s_;
  std::vector<Way> ways_;   // the cheapest last
  // Of all needles within a step that have not entered: what they displace, and how far they have touched, or less.
  std::vector<float> grazing_, touching_;
  std::vector<float> spare_;
  LayerFlags through_;
  LayerWindow unspent_;
  std::array<int, 2> rim_{1, 1};      // how far from the border, in points, nothing is known: there lies 0
  std::array<double, 2> off_{0, 0};   // how far directions may have wandered since they last might step aside, mm
};

}  // namespace leastharm
