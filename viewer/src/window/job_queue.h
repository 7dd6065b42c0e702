#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>

namespace leastharm {

/// A thread that does one job after another. Jobs must not throw. The destructor drops what has not
/// begun.
class JobQueue {
 public:
  using Job = std::function<void()>;
  JobQueue() : thread_([this] { run(); }) {}
  JobQueue(const JobQueue&) = delete;
  JobQueue& operator=(const JobQueue&) = delete;
  ~JobQueue() {
    {
      const std::lock_guard lock(mutex_);
      ending_ = true;
      jobs_.clear();
    }
    wake_.notify_all();
    thread_.join();
  }

  void add(Job job) {
    {
      const std::lock_guard lock(mutex_);
      jobs_.push_back(std::move(job));
    }
    wake_.notify_all();
  }
  [[nodiscard]] bool idle() const {
    const std::lock_guard lock(mutex_);
    return jobs_.empty() && !busy_;
  }

 private:
  void run() {
    std::unique_lock lock(mutex_);
    while (true) {
      wake_.wait(lock, [this] { return !jobs_.empty() || ending_; });
      if (ending_) return;
      const Job job = std::move(jobs_.front());
      jobs_.pop_front();
      busy_ = true;
      lock.unlock();
      job();
      lock.lock();
      busy_ = false;
    }
  }

  mutable std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Job> jobs_;
  bool busy_ = false, ending_ = false;
  std::thread thread_;
};

}  // namespace leastharm
