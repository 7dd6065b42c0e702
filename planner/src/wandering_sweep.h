#pragma once

#include "sheaf_sweep.h"

namespace leastharm {

/// Keeps for each point what the cheapest needle displaces that has come within a step of it, its direction changing within
/// the sheaf as it goes. Holds on any lattice and loses what a surface rises within a few steps.
class WanderingSweep final : public SheafSweep {
 public:
  using SheafSweep::SheafSweep;

 private:
  void begin(int layer, const Flags& free) override;
  void enter(int layer, const std::vector<float>& dearer) override;
  void open(int layer, const Flags& here) override;
  void advance(int layer, bool any) override;
  void tell(std::vector<float>& cost, Flags& opened) override;
  [[nodiscard]] bool waits(std::size_t first, std::size_t count) const override;
  [[nodiscard]] bool is_spent(std::size_t first, std::size_t count) const override;
  [[nodiscard]] std::array<int, 2> rim() const override { return drifts_; }
  [[nodiscard]] std::array<int, 2> width(int) const override { return {1, 1}; }
  void drift();
  void least_along(int axis, std::vector<float>& values);
  void spread_along(int axis, Flags& flags) const;

  std::vector<float> outside_, touching_;   // of needles that have not entered: what they displace, and how far they have touched
  std::vector<float> cost_;                 // of those that have
  std::vector<float> spare_;
  Flags through_;
  std::array<int, 2> drifts_{0, 0};
  std::array<double, 2> off_{0, 0};         // how far directions may have wandered since the last drift, mm
};

}  // namespace leastharm
