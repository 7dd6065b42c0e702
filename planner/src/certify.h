#pragma once

#include <functional>
#include <string>

#include "cell_bound.h"

namespace leastharm {

/// When a search for a lower bound ends.
struct CertifyLimits {
  double target = 0;               ///< a bound this high is enough
  std::size_t most_cells = 20'000'000;
  double seconds = 1e9;            ///< a ceiling; an answer that it cut may differ from run to run
};

struct Certified {
  double bound = 0;                ///< no admissible track scores less; infinite where there is none
  bool infeasible = false;         ///< proven: no track keeps the limits and yields enough
  std::string stopped;             ///< "gap", "nodes" or "time"
  std::size_t cells = 0;
};

/// Called after every batch with the bound so far and a cell's middle line that looks best; returns a new target.
using CertifyStep = std::function<double(double bound, std::size_t cells, const std::vector<Cell>& best)>;

/// Branch and bound over all straight tracks of one request with one needle on one side (+1, -1, or 0 for any), best
/// first, in batches of fixed size whose results are merged in a fixed order: the same on any number of threads.
[[nodiscard]] Certified certify(const SearchScene& scene, const EntryTree& tree, const CellBounds& bounds, std::size_t ask,
                                int side, const CertifyLimits& limits, const CertifyStep& step = {});

}  // namespace leastharm
