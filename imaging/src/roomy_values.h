#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <vector>

#include "parallel.h"

namespace leastharm {

/// Zeros for a large volume: in large pages where the system has them, and first touched by all cores. Both cost a
/// fraction of a plain vector's.
template <typename T>
[[nodiscard]] std::vector<T> roomy_values(std::size_t count) {
  constexpr std::size_t kPart = std::size_t{2} << 20;   // bytes: one large page
  std::vector<T> values;
  values.reserve(count);
  auto* const bytes = reinterpret_cast<std::byte*>(values.data());
  const std::size_t size = count * sizeof(T);
  const auto page = static_cast<std::uintptr_t>(sysconf(_SC_PAGE_SIZE));
  const auto first = (reinterpret_cast<std::uintptr_t>(bytes) + page - 1) / page * page;
  const auto end = reinterpret_cast<std::uintptr_t>(bytes + size) / page * page;
  if (end > first) madvise(reinterpret_cast<void*>(first), end - first, MADV_HUGEPAGE);
  for_each_item((size + kPart - 1) / kPart, [&](std::size_t, std::size_t part) {
    std::memset(bytes + part * kPart, 0, std::min(kPart, size - part * kPart));
  });
  values.resize(count);
  return values;
}

}  // namespace leastharm
