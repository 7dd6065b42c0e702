#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace leastharm {

/// Calls `work(begin, end)` for every chunk of `chunk` items on all cores. Chunks are fixed, so work that writes only
/// to its own items gives the same answer on any number of threads. The error of the lowest failing chunk is thrown.
template <typename Work>
void for_each_chunk(std::size_t items, std::size_t chunk, const Work& work, unsigned threads = 0) {
  const std::size_t chunks = (items + chunk - 1) / chunk;
  if (threads == 0) threads = std::max(1u, std::thread::hardware_concurrency());
  std::atomic<std::size_t> next{0};
  std::mutex guard;
  std::exception_ptr error;
  std::size_t failed = chunks;
  const auto run = [&] {
    for (std::size_t c = next++; c < chunks; c = next++) {
      try {
        work(c * chunk, std::min(items, (c + 1) * chunk));
      } catch (...) {
        const std::lock_guard lock(guard);
        if (c < failed) error = std::current_exception(), failed = c;
        next = chunks;
      }
    }
  };
  {
    std::vector<std::jthread> others;
    for (std::size_t t = 1; t < std::min<std::size_t>(threads, chunks); ++t) others.emplace_back(run);
    run();
  }
  if (error) std::rethrow_exception(error);
}

}  // namespace leastharm
