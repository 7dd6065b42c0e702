#include "window/rows.h"

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>

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

/// A second pair of hands, kept: to begin a thread for each picture costs a frame more than the picture.
class Helper {
 public:
  Helper() : thread_([this] { run(); }) {}
  Helper(const Helper&) = delete;
  Helper& operator=(const Helper&) = delete;
  ~Helper() {
    {
      const std::lock_guard lock(mutex_);
      ending_ = true;
    }
    wake_.notify_all();
    thread_.join();
  }

  void share(Blocks& blocks) {
    const std::lock_guard turn(turn_);
    {
      const std::lock_guard lock(mutex_);
      offered_ = &blocks;
    }
    wake_.notify_all();
    blocks.take_all();
    std::unique_lock lock(mutex_);
    offered_ = nullptr;
    done_.wait(lock, [this] { return !helping_; });
  }

 private:
  void run() {
    std::unique_lock lock(mutex_);
    while (true) {
      wake_.wait(lock, [this] { return offered_ != nullptr || ending_; });
      if (ending_) return;
      Blocks& blocks = *std::exchange(offered_, nullptr);
      helping_ = true;
      lock.unlock();
      blocks.take_all();
      lock.lock();
      helping_ = false;
      done_.notify_all();
    }
  }

  std::mutex turn_, mutex_;
  std::condition_variable wake_, done_;
  Blocks* offered_ = nullptr;
  bool helping_ = false, ending_ = false;
  std::thread thread_;  ///< last: it uses the others
};

}  // namespace

void in_blocks_of_rows(int width, int height, const Rows& rows) {
  if (width * height < 2 * kPixelsWorthAThread) return rows(0, height);
  static Helper helper;
  Blocks blocks{rows, height, std::max(1, height / kBlocks)};
  helper.share(blocks);
}

}  // namespace leastharm
