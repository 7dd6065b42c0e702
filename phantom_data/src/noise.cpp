#include "noise.h"

namespace leastharm::phantom {

NoiseTile::NoiseTile(std::uint64_t seed) : nodes_(kSize * kSize * kSize) {
  for (std::size_t n = 0; n < nodes_.size(); ++n) nodes_[n] = white(seed, n);
}

}  // namespace leastharm::phantom
