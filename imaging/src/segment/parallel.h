#pragma once

#include <algorithm>
#include <atomic>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace leastharm::segment_detail {

/// The number of workers to use: `wanted`, or one a core where it is 0.
[[nodiscard]] inline int worker_count(int wanted) {
  return wanted > 0 ? wanted : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

/// Calls work(chunk, first, last) for consecutive chunks of [0, count). The chunks do not depend on the number of
/// threads, so whatever each writes in its own place is the same for any number. Passes on the first exception.
inline void for_chunks(int count, int chunk_size, int threads,
                       const std::function<void(int, int, int)>& work) {
  const int chunks = (count + chunk_size - 1) / chunk_size;
  std::atomic<int> next{0};
  std::exception_ptr failure;
  std::mutex failure_mutex;
  const auto run = [&] {
    for (int c = next++; c < chunks; c = next++) {
      try {
        work(c, c * chunk_size, std::min(count, (c + 1) * chunk_size));
      } catch (...) {
        const std::scoped_lock lock(failure_mutex);
        if (!failure) failure = std::current_exception();
      }
    }
  };
  std::vector<std::thread> helpers;
  for (int t = 1; t < std::min(threads, chunks); ++t) helpers.emplace_back(run);
  run();
  for (std::thread& helper : helpers) helper.join();
  if (failure) std::rethrow_exception(failure);
}

/// Does two pieces of work at the same time where there is more than one thread. Neither may read what the other writes.
template <typename First, typename Second>
void side_by_side(int threads, const First& first, const Second& second) {
  for_chunks(2, 1, threads, [&](int piece, int, int) { piece == 0 ? first() : second(); });
}

}  // namespace leastharm::segment_detail
