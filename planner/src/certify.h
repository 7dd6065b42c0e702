#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "search_route.h"
#include "sheaf_bound.h"

namespace leastharm {

/// No admissible track of one request with its core on one side scores less than `lower_bound`; what that rests on:
/// DEVELOPERS.md, "The certificate".
struct SideBound {
  double lower_bound = 0;
  double without_hole = 0;       ///< the same of what a track scores besides its hole, which others may share
};

/// What is certified.
struct Certification {
  struct Side {
    int side = 0;                  ///< on which cores lie: +1 left, -1 right; 0 no matter
    double score = 0;              ///< of the best track known
  };
  const Request* request = nullptr;
  std::vector<Side> sides{{}};
  double gap = 0.05;               ///< what comes within this of the best is not looked at more closely
  std::function<std::optional<double>(const Route& route)> offer;    ///< a promising route; its score where it is admissible
};

/// Best first, over sheaves of directions and cubes of tips. Sides are bounded each on its own, but for the widest sheaves, which are
/// swept for all at once. Deterministic on any number of threads.
class Certifier {
 public:
  Certifier(SweepGrounds& grounds, Certification task);   ///< `grounds` outlive this
  ~Certifier();
  Certifier(Certifier&&) noexcept;

  /// Looks closer where the bound of one of the sides is least; a fraction of a second's work.
  void look_closer(std::size_t side);
  /// Whether every direction was looked at once: until then nothing is known.
  [[nodiscard]] bool knows() const;
  /// Nothing raises a side's bound any more: what is left is within the gap, or as fine as it gets.
  [[nodiscard]] bool finished(std::size_t side) const;
  [[nodiscard]] bool within_gap(std::size_t side) const;
  [[nodiscard]] SideBound bound(std::size_t side) const;
  /// Lattice points looked at: the same on every machine.
  [[nodiscard]] double points() const;

 private:
  class Search;
  std::unique_ptr<Search> search_;
};

/// The bound of the first side after so much work, or when finished.
[[nodiscard]] SideBound certify(SweepGrounds& grounds, const Certification& task, double lattice_points);

}  // namespace leastharm
