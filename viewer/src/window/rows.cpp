#include "window/rows.h"

#include <algorithm>
#include <atomic>
#include <mutex>

#include "window/latest_worker.h"

namespace leastharm {
namespace {

using Rows = std::function<void(int, int)>;

constexpr int kPixelsWorthAThread = 40'000;
constexpr int kBlocks = 16;

/// One picture's rows, taken by whoever comes.
struct Blocks {
  const Rows& rows;
  int height, block;
  std::atomic<int> next = 0;

  void take_all() {
    for (int from; (from = next.fetch_add(block)) < height;) rows(from, std::min(height, from + block));
  }
};

}  // namespace

void in_blocks_of_rows(int width, int height, const Rows& rows) {
  if (width * height < 2 * kPixelsWorthAThread) return rows(0, height);
  // A second pair of hands, kept: to begin a thread for each picture costs a frame more than the picture.
  static LatestWorker<Blocks*> helper([](Blocks* blocks) { blocks->take_all(); });
  static std::mutex one_picture;
  const std::lock_guard turn(one_picture);
  Blocks blocks{rows, height, std::max(1, height / kBlocks)};
  helper.ask(&blocks);
  blocks.take_all();
  helper.finish();
}

}  // namespace leastharm
