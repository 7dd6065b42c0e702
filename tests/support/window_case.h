#pragma once

#include <unistd.h>

#include <chrono>
#include <condition_variable>
#include <deque>
#include <filesystem>
#include <functional>
#include <mutex>
#include <string>

#include "imaging/hash.h"
#include "imaging/intake.h"
#include "imaging/volume_file.h"
#include "planner/case.h"
#include "support/made_body.h"

namespace leastharm::test {

/// A case about the made body in a folder of its own, its CT beside it in one file; gone with the
/// object.
struct WindowCase {
  std::filesystem::path base;
  MadeBody body = made_body();

  explicit WindowCase(const std::string& name, bool confirmed = true)
      : base(std::filesystem::temp_directory_path() /
             ("leastharm-window-" + name + "-" + std::to_string(::getpid()))) {
    std::filesystem::remove_all(base);
    std::filesystem::create_directories(base);
    write_hu(body.hu, ct());
    CaseFolder folder = CaseFolder::open_or_create(root());
    const CtVolume read = read_ct(ct());
    CaseFile& file = folder.file;
    file.object_id = "INVENTED";
    file.ct = {.path = "../ct.nrrd",
               .series_uid = read.series_uid,
               .sha256 = sha256_hex(read.hu),
               .grid = read.hu.grid,
               .noise_hu = 6};
    Volume<std::uint8_t> confidence{body.hu.grid,
                                    std::vector<std::uint8_t>(body.hu.values.size(), 250)};
    folder.write_map(body.materials, confidence);
    for (const std::uint8_t m : body.materials.values) file.volume_mm3[m] += body.materials.grid.voxel_volume_mm3();
    static_cast<void>(folder.protect_dense(body.materials));
    file.proposed_frame = make_body_frame({0, 0, 1}, {0, -1, 0});
    file.proposed_frame.midline_lps_mm = {{0, 30, 200}, {0, 30, 380}};
    file.proposed_frame.certainty = 0.9;
    if (confirmed) {
      file.frame = file.proposed_frame;
      file.frame_by = "R. Example";
      file.frame_at = "2026-01-02T03:04:05Z";
    }
    file.request = request();
    file.plan.tracks = {track("T1", body.left_packing_lps_mm),
                        track("T2", body.right_packing_lps_mm + Vec3(0, 0, 8))};
    folder.save();
  }
  WindowCase(const WindowCase&) = delete;
  WindowCase& operator=(const WindowCase&) = delete;
  ~WindowCase() { std::filesystem::remove_all(base); }

  [[nodiscard]] std::filesystem::path root() const { return base / "case"; }
  [[nodiscard]] std::filesystem::path ct() const { return base / "ct.nrrd"; }

  static RequestFile request() {
    RequestFile file;
    file.requests = {{.id = "P",
                      .material = Material::packing,
                      .assays = {{"analysis", 3}},
                      .replicates = 2,
                      .spacing_mm = 10}};
    file.needles = {{.name = "test needle",
                     .outer_mm = 3,
                     .bore_mm = 2.4,
                     .throw_mm = 20,
                     .usable_mm = 150,
                     .source = "invented"}};
    file.limits.entry_angle_deg = 60;
    file.gap = 0.3;
    file.time_s = 5;
    return file;
  }
  /// From in front straight into a packing column.
  static Track track(const std::string& id, const Vec3& tip) {
    return {.id = id,
            .entry_lps_mm = tip + Vec3(tip.x() > 0 ? 10 : -10, -90, 0),
            .tip_lps_mm = tip + Vec3(0, 8, 0),
            .needle = request().needles.front(),
            .request = "P"};
  }
};

/// Stands in for a window's event loop: what other threads post runs on the test's own thread.
class Loop {
 public:
  [[nodiscard]] std::function<void(std::function<void()>)> post() {
    return [this](std::function<void()> what) {
      {
        const std::lock_guard lock(mutex_);
        queue_.push_back(std::move(what));
      }
      wake_.notify_all();
    };
  }
  /// Runs what comes until `done`, or `seconds` are over; true where it is done.
  bool run_until(const std::function<bool()>& done, double seconds = 60) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    while (std::chrono::steady_clock::now() < end) {
      std::unique_lock lock(mutex_);
      wake_.wait_for(lock, std::chrono::milliseconds(5), [&] { return !queue_.empty(); });
      if (queue_.empty()) {
        lock.unlock();
        if (done()) return true;
        continue;
      }
      const auto what = std::move(queue_.front());
      queue_.pop_front();
      lock.unlock();
      what();
    }
    return done();
  }

 private:
  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<std::function<void()>> queue_;
};

}  // namespace leastharm::test
