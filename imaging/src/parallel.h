#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace leastharm {

/// Calls `work(worker, item)` for every item on all cores; items are handed out in order. `worker` counts from 0 and
/// stays below `worker_count()`. The error of the lowest failing item is thrown again, whatever the number of threads.
[[nodiscard]] inline std::size_t worker_count() {
  return std::max<std::size_t>(1, std::thread::hardware_concurrency());
}

template <typename Work>
void for_each_item(std::size_t items, const Work& work) {
  std::atomic<std::size_t> next{0};
  std::mutex guard;
  std::exception_ptr error;
  std::size_t failed = items;
  const auto run = [&](std::size_t worker) {
    for (std::size_t item = next++; item < items; item = next++) {
      try {
        work(worker, item);
      } catch (...) {
        const std::lock_guard lock(guard);
        if (item < failed) error = std::current_exception(), failed = item;
        next = items;
      }
    }
  };
  std::vector<std::jthread> threads;
  for (std::size_t worker = 1; worker < std::min(worker_count(), items); ++worker)
    threads.emplace_back(run, worker);
  run(0);
  threads.clear();
  if (error) std::rethrow_exception(error);
}

}  // namespace leastharm
