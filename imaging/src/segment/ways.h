#pragma once

#include <array>
#include <cstddef>
#include <cstdlib>
#include <vector>

#include "coarse.h"
#include "parallel.h"

namespace leastharm::segment_detail {

/// The fourteen ways out of a block, through its faces and corners.
[[nodiscard]] inline std::vector<std::array<int, 3>> ways_out() {
  std::vector<std::array<int, 3>> ways;
  for (const int c : {-1, 0, 1})
    for (const int b : {-1, 0, 1})
      for (const int a : {-1, 0, 1})
        if (const int along = std::abs(a) + std::abs(b) + std::abs(c); along == 1 || along == 3) ways.push_back({a, b, c});
  return ways;
}

/// All ways out of a block: through its faces, edges and corners.
[[nodiscard]] inline std::vector<std::array<int, 3>> all_ways() {
  std::vector<std::array<int, 3>> ways;
  for (const int c : {-1, 0, 1})
    for (const int b : {-1, 0, 1})
      for (const int a : {-1, 0, 1})
        if (a || b || c) ways.push_back({a, b, c});
  return ways;
}

/// Goes through all blocks from the far end of a way, so that each learns what lies beyond it: calls pass(block, value),
/// with what pass answered for the next block on the way, or `none` where the grid ends. Remembers two slices of values.
template <typename Value, typename Pass>
void along_way(const Coarse& coarse, const std::array<int, 3>& way, Value none, const Pass& pass) {
  const auto [w, h, d] = coarse.size;
  const auto [a, b, c] = way;
  const auto width = static_cast<std::ptrdiff_t>(w);
  const auto from_far = [](int step, int size, int toward) { return toward > 0 ? size - 1 - step : step; };
  std::vector<Value> here(static_cast<std::size_t>(w) * static_cast<std::size_t>(h)), beyond(here.size());
  for (int kk = 0; kk < d; ++kk) {
    if (c != 0) here.swap(beyond);
    for (int jj = 0; jj < h; ++jj) {
      const int k = from_far(kk, d, c), j = from_far(jj, h, b);
      const std::size_t block = coarse.offset(0, j, k);
      Value* const row = here.data() + j * width;
      const bool ends = j + b < 0 || j + b >= h || k + c < 0 || k + c >= d;
      const Value* const next = ends ? nullptr : (c != 0 ? beyond : here).data() + (j + b) * width;
      for (int ii = 0; ii < w; ++ii) {
        const int i = from_far(ii, w, a);
        row[i] = pass(block + static_cast<std::size_t>(i), ends || (a != 0 && ii == 0) ? none : next[i + a]);
      }
    }
  }
}

/// Calls follow(way, met) for each of some ways, numbered from 0, half of them beside the other half, and adds up for each block what they met.
template <typename Met, typename Follow>
void follow_ways(std::size_t ways, int threads, std::vector<Met>& met, const Follow& follow) {
  std::vector<Met> of_rest(met.size());
  const std::size_t half = ways / 2;   // the other half leads the other way
  const auto from_to = [&](std::size_t first, std::size_t last, Met* into) {
    for (std::size_t way = first; way < last; ++way) follow(way, into);
  };
  side_by_side(threads, [&] { from_to(0, half, met.data()); }, [&] { from_to(half, ways, of_rest.data()); });
  for (std::size_t v = 0; v < met.size(); ++v) met[v] = static_cast<Met>(met[v] + of_rest[v]);
}

}  // namespace leastharm::segment_detail
