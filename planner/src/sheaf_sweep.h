#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <vector>

#include "sweep_ground.h"

namespace leastharm {

/// Lower bounds on what tracks of a sheaf displace on their way to a cube's tips: weight x length, mm. Infinite where none
/// has a sufficient chance of enough.
struct SheafCost {
  double plain_mm = std::numeric_limits<double>::infinity();     ///< of those that enter through no opening
  double opening_mm = std::numeric_limits<double>::infinity();   ///< of those that may
};

/// What one sweep is to find: bounds for each cube of `box`, on a lattice of `step_mm`. Costs over `cap_mm` are not told apart.
struct SweepTask {
  const Sheaf& sheaf;
  const TipBox& box;
  const TipChances& tips;
  double least_chance = 0;   ///< of enough, that a tip must have
  double step_mm = 1, cap_mm = 1;
};

/// Goes along a sheaf, layer by layer from where the hand is to the tips, on a lattice square to its middle. What it keeps
/// for each point of a layer is for derived classes to say; how they work, and why it bounds: DEVELOPERS.md, "The certificate".
class SheafSweep {
 public:
  SheafSweep(const SweepGround& ground, const SweepTask& task);
  virtual ~SheafSweep() = default;
  SheafSweep(const SheafSweep&) = delete;
  SheafSweep& operator=(const SheafSweep&) = delete;

  [[nodiscard]] double points() const { return static_cast<double>(lattice_.count()); }
  /// One for each cube.
  [[nodiscard]] std::vector<SheafCost> run();

 protected:
  using Flags = std::vector<std::uint8_t>;   ///< by point of a layer
  static constexpr float kNoEntry = std::numeric_limits<float>::infinity();

  /// Nothing has been met yet; `free` where a hand has room whose needle passes within a step of the point.
  virtual void begin(int layer, const Flags& free) = 0;
  /// Axes within a step of a point may enter the object here, through a hole that is dearer than a square one by as much at
  /// least; kNoEntry where none may.
  virtual void enter(int layer, const std::vector<float>& dearer) = 0;
  /// Axes within a step of these points may be in an opening here.
  virtual void open(int layer, const Flags& here) = 0;
  /// From a layer to the next, over `weights_`, which are those half-way; `any`: there are some.
  virtual void advance(int layer, bool any) = 0;
  /// What needles that end in this layer displace at least, and whether they may have come through an opening.
  virtual void tell(std::vector<float>& cost, Flags& opened) = 0;
  /// Whether some needle at these points still waits to enter.
  [[nodiscard]] virtual bool waits(std::size_t first, std::size_t count) const = 0;
  /// Whether these points cost more than is told apart already, whatever comes.
  [[nodiscard]] virtual bool is_spent(std::size_t first, std::size_t count) const = 0;
  /// How far from the border, in points, what is kept for a point is right.
  [[nodiscard]] virtual std::array<int, 2> rim() const = 0;
  /// How far across weights are looked at from a point in this layer, in points.
  [[nodiscard]] virtual std::array<int, 2> width(int layer) const = 0;

  [[nodiscard]] std::size_t plane() const { return lattice_.offset(0, 0, 1); }
  /// Runs of points in a row are looked at together: calls visit(i, j, count) for each.
  template <typename Visit>
  void for_each_run(const Visit& visit) const {
    for (int j = 0; j < lattice_.size[1]; ++j)
      for (int i = 0; i < lattice_.size[0]; i += run_) visit(i, j, std::min(run_, lattice_.size[0] - i));
  }
  [[nodiscard]] std::size_t run_index(int i, int j) const {
    return static_cast<std::size_t>(i / run_ + (lattice_.size[0] + run_ - 1) / run_ * j);
  }

  const SweepGround& ground_;
  const SweepTask& task_;
  const Needle& needle_;
  Lattice lattice_;
  double radius_ = 1, along_ = 1, across_ = 1;   ///< of the steel; between layers; between points. mm
  float cap_;
  double most_touch_mm_ = 0;      ///< how far an admissible needle may touch the object before its axis enters
  int first_tip_ = 0, last_tip_ = 0;   ///< layers in which the needles of the present sweep end
  std::vector<float> weights_;    ///< half a step beyond the present layer, where they can still matter
  Flags live_;                    ///< by run: weights were read there

 private:
  void lay_out();
  void lay_across(double reach_mm);
  void sweep(int from, int to);
  [[nodiscard]] int first_solid(int layer, int last) const;
  [[nodiscard]] Flags free_hands(int layer) const;
  [[nodiscard]] bool hand_is_free(const Vec3& p) const;
  bool find_entering(int layer);
  bool find_openings(int layer, Flags& here) const;
  bool sample(int layer);
  void find_unspent();
  [[nodiscard]] bool unspent_near(int i, int j, const std::array<int, 2>& width) const;
  [[nodiscard]] bool all_spent() const;
  void keep(int end);
  [[nodiscard]] float cost_of_end(std::size_t n, const Vec3& end) const;
  [[nodiscard]] std::vector<SheafCost> judge() const;

  double cosine_off_ = 1, sine_off_ = 0;   ///< by how much the sheaf's directions, and normals, may be off
  double least_cosine_ = 0, end_shift_ = 0, slab_mm_ = 0;
  int run_ = 1, first_end_ = 0, ends_ = 0, beyond_ = 0;
  bool started_ = false;
  Flags unspent_, here_;
  std::vector<float> dearer_;
  std::vector<float> kept_;
  Flags kept_open_;
};

}  // namespace leastharm
