#pragma once

#include <algorithm>
#include <atomic>
#include <thread>
#include <vector>

namespace leastharm::phantom {

/// Runs `work(n)` for n = 0 .. count-1, each once, on `threads` threads (0: as many as the machine has).
/// The pieces must not depend on one another.
template <typename Work>
void for_each_piece(int count, unsigned threads, const Work& work) {
  const unsigned wanted = threads ? threads : std::max(1U, std::thread::hardware_concurrency());
  const unsigned used = std::min(wanted, static_cast<unsigned>(std::max(1, count)));
  std::atomic<int> next{0};
  const auto worker = [&] {
    for (int n = next++; n < count; n = next++) work(n);
  };
  std::vector<std::jthread> others;
  for (unsigned t = 1; t < used; ++t) others.emplace_back(worker);
  worker();
}

}  // namespace leastharm::phantom
