#pragma once

#include <functional>

#include "planner/assess.h"

namespace leastharm {

/// A constraint that leaves no admissible answer.
struct Blocking {
  std::string request, constraint;   ///< e.g. "mass", "clearance dense-1", "entry_angle_deg", "sides"
  double needed = 0, best_found = 0;
  std::string unit, remedy;
};

struct Alternative {
  std::string id;            ///< "A1", ...
  std::string best_in;       ///< why it is shown: "damage", "certainty", "yield", "nearness to opening X", "one core", "half the mass"
  Assessment assessment;
};

/// What a route set loses or keeps when the weights vary.
struct Firmness {
  int first_in_100 = 0;                       ///< of 100 random weight sets within half and double, how often the proposal stays first among the alternatives
  std::vector<std::string> changed_by;        ///< single weights whose half or double changes the order
};

struct Proposal {
  bool feasible = false;
  bool proven = false;                  ///< infeasibility is proven, not only not found
  Assessment assessment;                ///< tracks T1, T2, ... in sampling order, cleanest first
  Certificate certificate;
  std::string stopped;                  ///< "gap", "nodes" or "time"
  std::vector<Alternative> alternatives;
  Firmness firmness;
  std::vector<Blocking> blocking;       ///< when not feasible
};

/// Progress of a search; return false to stop and keep the best.
using SearchProgress = std::function<bool(double best_score, double lower_bound, double seconds)>;

/// Finds the tracks that answer all requests with the least damage, with a proven lower bound.
[[nodiscard]] Proposal propose(const Body& body, const RequestFile& request, std::uint64_t seed = 1,
                               const SearchProgress& progress = {});

[[nodiscard]] nlohmann::json to_json(const Proposal& proposal);

}  // namespace leastharm
