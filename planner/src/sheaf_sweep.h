#pragma once

#include <algorithm>
#include <limits>
#include <vector>

#include "sweep_ground.h"
#include "wandering_costs.h"

namespace leastharm {

/// Lower bounds on what tracks of a sheaf displace on their way to a cube's tips: weight x length, mm. Infinite where none
/// has a sufficient chance of enough.
struct SheafCost {
  double plain_mm = std::numeric_limits<double>::infinity();     ///< of those that enter through no opening
  double opening_mm = std::numeric_limits<double>::infinity();   ///< of those that may
};

/// What one sweep is to find: bounds for each side and each cube of `box`, on a lattice of `step_mm`. Costs over `cap_mm` are not
/// told apart.
struct SweepTask {
  const Sheaf& sheaf;
  const TipBox& box;
  const TipChances& tips;
  double least_chance = 0;   ///< of enough, that a tip must have
  double step_mm = 1, cap_mm = 1;
  const std::vector<int>& sides;   ///< +1 left, -1 right, 0 no matter
};

/// Goes along a sheaf, layer by layer from where the hand is to the tips, on a lattice square to its middle. Why what it finds
/// bounds: DEVELOPERS.md, "The score, and the certificate".
class SheafSweep {
 public:
  SheafSweep(const SweepGround& ground, const SweepTask& task);

  /// By side and cube.
  [[nodiscard]] std::vector<std::vector<SheafCost>> run();
  /// How many points it went over.
  [[nodiscard]] double points() const { return points_; }

 private:
  void lay_out();
  void lay_across(double reach_mm);
  void sweep(int from, int to);
  [[nodiscard]] int first_solid(int layer, int last) const;
  [[nodiscard]] LayerFlags free_hands(int layer, int at) const;
  [[nodiscard]] bool hand_is_free(const Vec3& p, double room_mm) const;
  void find_entering();
  bool take_entering(int layer);
  bool find_openings(int layer);
  bool sample(int layer);
  void find_unspent(const LayerWindow& where);
  [[nodiscard]] bool unspent_near(int i, int j) const;
  void keep(int end);
  [[nodiscard]] float cost_of_end(std::size_t n, const Vec3& end) const;
  [[nodiscard]] std::vector<float> chances_at(const Lattice& ends) const;
  void leave_out_other_side(const Lattice& ends, int side, std::vector<float>& chance) const;
  [[nodiscard]] std::vector<SheafCost> judge(const Lattice& ends, const std::vector<float>& chance) const;

  [[nodiscard]] std::size_t plane() const { return lattice_.offset(0, 0, 1); }
  /// Runs of points in a row are looked at together: calls visit(i, j, count) for each that reaches into a window.
  template <typename Visit>
  void for_each_run(const LayerWindow& window, const Visit& visit) const {
    for (int j = window.first[1]; j < window.end[1]; ++j)
      for (int i = window.first[0] / run_ * run_; i < window.end[0]; i += run_) visit(i, j, std::min(run_, lattice_.size[0] - i));
  }
  [[nodiscard]] std::size_t run_index(int i, int j) const {
    return static_cast<std::size_t>(i / run_ + (lattice_.size[0] + run_ - 1) / run_ * j);
  }

  /// Points of a layer past which axes may enter, first and last along either axis, through a hole that is dearer by so much.
  struct Entering {
    std::array<int, 2> first, last;
    float dearer;
  };

  const SweepGround& ground_;
  const SweepTask& task_;
  const Needle& needle_;
  Lattice lattice_;
  LayerWindow tips_;               // the points among which tips are
  double radius_ = 1, along_ = 1, across_ = 1;   // of the steel; between layers; between points. mm
  double most_touch_mm_ = 0;       // how far an admissible needle may touch the object before its axis enters
  double end_shift_ = 0, slab_mm_ = 0;
  int run_ = 1, first_end_ = 0, ends_ = 0, beyond_ = 0;
  bool started_ = false;
  double points_ = 0;
  WanderingCosts costs_;
  std::vector<float> weights_;     // half a step beyond the present layer, where they can still matter
  LayerFlags unspent_;             // by run: not all is spent
  LayerFlags in_opening_;
  std::vector<std::vector<Entering>> entering_;   // by layer
  std::vector<float> dearer_;      // by point: as WanderingCosts::enter has it
  std::vector<float> kept_;        // by point among the tips of each layer in which needles end
  LayerFlags kept_open_;
};

}  // namespace leastharm
