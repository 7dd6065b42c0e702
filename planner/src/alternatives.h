#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "candidates.h"
#include "planner/propose.h"

namespace leastharm {

/// What the choice was made from: admissible candidates, and which of them are the plan's tracks, in the plan's order.
struct Pool {
  const SearchScene& scene;
  const Assessor& assessor;
  std::vector<Assessed> routes;
  std::vector<std::size_t> plan;   ///< indices into `routes`

  [[nodiscard]] const Request& request_of(std::size_t route) const {
    return *scene.asks()[routes[route].candidate.route.ask].request;
  }
};

/// The place in the plan that a route can take so that every limit on tracks together still holds; of several the one
/// whose own track scores most. Empty where there is none, or the route is the plan's own.
[[nodiscard]] std::optional<std::size_t> place_for(const Pool& pool, std::size_t route);

/// The routes that differ clearly from the plan's own and have a place in it, best first, each clearly different from
/// the better ones too.
[[nodiscard]] std::vector<std::size_t> clearly_different(const Pool& pool);

/// Routes that differ clearly from the plan's and that an exchange may bring in: the best in damage after the plan, and
/// what no other route (the plan's own included) equals in damage, certainty, yield and nearness to an opening at once;
/// at most six. Differences below 1 % of the score, 0.01 in certainty, 0.5 mg and 1 mm do not count.
[[nodiscard]] std::vector<Alternative> find_alternatives(const Pool& pool, const Assessment& plan);

/// What a score is made of, by the weight behind it ("bone", "hole", "zone NAME", "keep-outs").
using Shares = std::map<std::string, double>;
/// How often a plan scores less than every rival when each weight is multiplied by a factor: 0.5 or 2, one at a time; and
/// all at random, evenly spread between them on a logarithmic scale.
[[nodiscard]] Firmness firmness_among(const Shares& plan, const std::vector<Shares>& rivals, std::uint64_t seed);
/// The same for the plan against every exchange of one of its tracks for a clearly different route.
[[nodiscard]] Firmness find_firmness(const Pool& pool, std::uint64_t seed);

/// The prices of the lesser choices; `half` are candidates under half the need, assessed under `request_at`.
[[nodiscard]] std::vector<Price> find_prices(const Pool& pool, const Assessment& plan, const std::vector<Assessed>& half);

}  // namespace leastharm
