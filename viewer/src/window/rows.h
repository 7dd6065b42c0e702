#pragma once

#include <thread>

namespace leastharm {

/// Calls `rows(from, to)` for all rows of a picture, in two threads where there are enough pixels. Rows must not hang
/// on one another.
template <typename Rows>
void in_two_halves(int width, int height, Rows rows) {
  constexpr int kPixelsWorthAThread = 40'000;
  if (width * height < 2 * kPixelsWorthAThread) return rows(0, height);
  std::thread helper([&] { rows(0, height / 2); });
  rows(height / 2, height);
  helper.join();
}

}  // namespace leastharm
