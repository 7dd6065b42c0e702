#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "search_route.h"

namespace leastharm {

/// How finely the dense search looks.
struct DenseSpacing {
  double entry_mm = 8;        ///< between entries
  double direction_deg = 8;   ///< between directions
  double hidden_entry_mm = 3, hidden_direction_deg = 3;   ///< the same where something stands in front of the entry
};

/// The best routes of one request with one needle, best first: over all entries and directions at the given spacing,
/// each the best of its neighbourhood. Deterministic on any number of threads.
[[nodiscard]] std::vector<Route> dense_search(const SearchScene& scene, std::size_t ask, const RouteLimits& limits,
                                              const DenseSpacing& spacing);

/// Keeps the best of routes (sorted by score) that differ: tips more than `apart_mm` or directions more than
/// `apart_deg` from each better one; at most `most`.
[[nodiscard]] std::vector<Route> thinned(const std::vector<Route>& routes, double apart_mm, double apart_deg,
                                         std::size_t most);

/// A route's score, dearer where the chance of enough falls short of what is wished and near the tilt limit: what `refined` makes least.
[[nodiscard]] double price_of(const SearchScene& scene, const RouteLimits& limits, const Route& route);

/// Descends from a route by shifting and turning it, and deepens it until the chance of enough suffices.
[[nodiscard]] Route refined(const SearchScene& scene, const RouteLimits& limits, const Route& route);

/// Descends again from places at random round about, for there is seldom one hollow alone; the best that was found.
[[nodiscard]] Route hopped(const SearchScene& scene, const RouteLimits& limits, const Route& route);

/// Descends from the `number`th place at random beside a route, on the route's side; none where no track goes from there.
[[nodiscard]] std::optional<Route> descended_beside(const SearchScene& scene, RouteLimits limits, const Route& route, std::size_t number);

/// Directions within the tilt limit, about `step_deg` apart, in a fixed order.
[[nodiscard]] std::vector<Vec3> direction_set(double tilt_deg, double step_deg);

}  // namespace leastharm
