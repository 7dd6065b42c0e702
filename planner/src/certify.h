#pragma once

#include <functional>
#include <optional>
#include <string>

#include "search_route.h"
#include "sheaf_bound.h"

namespace leastharm {

/// No admissible track of one request with its core on one side scores less than `lower_bound`; what that rests on:
/// DEVELOPERS.md, "The certificate".
struct SideBound {
  double lower_bound = 0;
  double without_hole = 0;       ///< the same of what a track scores besides its hole, which others may share
  std::string stopped = "gap";   ///< "gap", "nodes" or "time"
};

/// What is certified, and how far the search for the bound goes.
struct Certification {
  const Request* request = nullptr;
  int side = 0;                    ///< +1, -1; 0 no matter
  double score = 0;                ///< of the best track known
  double gap = 0.05;               ///< what comes within this of the best is not looked at more closely
  double lattice_points = 1e10;    ///< the same amount of work on every machine
  std::function<bool(double lower_bound)> go_on;                     ///< asked between batches; false stops
  std::function<std::optional<double>(const Route& route)> offer;    ///< a promising route; its score where it is admissible
};

/// Best first, over sheaves of directions and cubes of tips. Deterministic on any number of threads unless `go_on` stops it.
[[nodiscard]] SideBound certify(SweepGrounds& grounds, const Certification& task);

}  // namespace leastharm
