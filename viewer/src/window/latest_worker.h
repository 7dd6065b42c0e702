#pragma once

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>

namespace leastharm {

/// A thread that works on the latest request only: what was asked meanwhile and is older falls
/// away. `work` must not throw. The destructor waits for the request in hand, and works through a
/// last one that waits.
template <typename Request>
class LatestWorker {
 public:
  using Work = std::function<void(const Request&)>;

  explicit LatestWorker(Work work) : work_(std::move(work)), thread_([this] { run(); }) {}
  LatestWorker(const LatestWorker&) = delete;
  LatestWorker& operator=(const LatestWorker&) = delete;
  ~LatestWorker() {
    {
      const std::lock_guard lock(mutex_);
      ending_ = true;
    }
    wake_.notify_all();
    thread_.join();
  }

  void ask(Request request) {
    {
      const std::lock_guard lock(mutex_);
      next_ = std::move(request);
    }
    wake_.notify_all();
  }
  /// Drops what waits; what is in hand goes on.
  void forget() {
    const std::lock_guard lock(mutex_);
    next_.reset();
  }
  /// Drops what waits, and waits for what is in hand.
  void finish() {
    std::unique_lock lock(mutex_);
    next_.reset();
    wake_.wait(lock, [this] { return !busy_; });
  }
  /// Whether a newer request waits, so that the one in hand may be left.
  [[nodiscard]] bool superseded() const {
    const std::lock_guard lock(mutex_);
    return next_.has_value() || ending_;
  }
  /// For `work`: lets time pass, unless the worker is to end.
  void rest(std::chrono::milliseconds time) {
    std::unique_lock lock(mutex_);
    wake_.wait_for(lock, time, [this] { return ending_; });
  }
  [[nodiscard]] bool idle() const {
    const std::lock_guard lock(mutex_);
    return !next_ && !busy_;
  }

 private:
  void run() {
    std::unique_lock lock(mutex_);
    while (true) {
      wake_.wait(lock, [this] { return next_.has_value() || ending_; });
      if (!next_) return;
      const Request request = *std::exchange(next_, std::nullopt);
      busy_ = true;
      lock.unlock();
      work_(request);
      lock.lock();
      busy_ = false;
      wake_.notify_all();
    }
  }

  Work work_;
  mutable std::mutex mutex_;
  std::condition_variable wake_;
  std::optional<Request> next_;
  bool busy_ = false, ending_ = false;
  std::thread thread_;
};

}  // namespace leastharm
