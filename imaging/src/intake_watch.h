#pragma once

#include <chrono>
#include <filesystem>
#include <mutex>
#include <string>

#include "dicom_frames.h"
#include "imaging/intake.h"

namespace leastharm {

/// Gathers what a scan finds and hands it on ten times a second at most. Any thread may report. Without a watcher it
/// does nothing.
class IntakeWatch {
 public:
  explicit IntakeWatch(InspectionWatcher watcher) : watcher_(std::move(watcher)) {}

  void found(std::size_t files);
  void looked_into_other();                                  ///< a file that is no DICOM
  void looked_into(const FileFrames& content);
  void could_not_read(const std::filesystem::path& file, const std::string& why);
  /// Hands on what has not been handed on yet.
  void finish();

 private:
  void hand_on(bool even_if_soon);

  InspectionWatcher watcher_;
  std::mutex guard_;
  InspectionSoFar so_far_;
  std::map<std::string, std::size_t> set_aside_;             ///< images by reason
  std::chrono::steady_clock::time_point told_{};
};

}  // namespace leastharm
