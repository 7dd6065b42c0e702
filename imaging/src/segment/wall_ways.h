#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "coarse.h"

namespace leastharm::segment_detail {

/// On which ways out of each block wall is met, a bit for each of `all_ways`: at first through faces and corners, fourteen; then through edges, too.
class WallWays {
 public:
  WallWays(const Coarse& coarse, const std::vector<std::uint8_t>& wall, int threads);
  void look_through_edges() { look(true); }
  [[nodiscard]] const std::vector<std::uint32_t>& met() const { return met_; }
  /// The bits looked at so far.
  [[nodiscard]] std::uint32_t looked_at() const { return looked_at_; }

 private:
  void look(bool edges);

  const Coarse& coarse_;
  const std::vector<std::uint8_t>& wall_;
  int threads_;
  std::vector<std::uint32_t> met_;
  std::uint32_t looked_at_ = 0;
};

}  // namespace leastharm::segment_detail
