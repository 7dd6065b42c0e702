#pragma once

#include <memory>
#include <optional>

#include "search_scene.h"

namespace leastharm {

/// What one core of a pooled request answers at least, as a request of its own, with the scene in which it is looked for.
///
/// Where the sum of n cores reaches the need N with chance p, one of them reaches N/n with a chance of p/n: in every draw
/// that has the sum at least one core holds its share, and the chance of a union is at most the sum of the chances. The chances
/// of tips leave out noise and take the composition as well known; where a chance is high that only raises it, but a chance of
/// p/n may be low. So the share is lowered by what noise may add to a core in 99 of 100 draws and divided by what an unknown
/// filling may, and the chance by 0.02 for the rest and by 0.05 for the lattice, which is coarser where chances change fast.
struct OneOfThePool {
  std::unique_ptr<const RequestFile> file;   ///< holds one request; the scene looks at it
  std::unique_ptr<const SearchScene> scene;

  [[nodiscard]] const Request& request() const { return file->requests.front(); }
};

/// Empty where so little is left of the share or of the chance that nothing can be claimed. `body` outlives the answer.
[[nodiscard]] std::optional<OneOfThePool> one_of_the_pool(const Body& body, const RequestFile& file, const Request& request);

}  // namespace leastharm
