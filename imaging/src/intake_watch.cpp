#include "intake_watch.h"

#include "intake_text.h"
#include "plain_text.h"

namespace leastharm {

void IntakeWatch::found(std::size_t files) {
  if (!watcher_) return;
  const std::lock_guard lock(guard_);
  so_far_.files = files;
  hand_on(false);
}

void IntakeWatch::looked_into_other() {
  if (!watcher_) return;
  const std::lock_guard lock(guard_);
  ++so_far_.read;
  hand_on(false);
}

void IntakeWatch::looked_into(const FileFrames& content) {
  if (!watcher_) return;
  const std::lock_guard lock(guard_);
  ++so_far_.read;
  for (const Frame& frame : content.frames) {
    if (!frame.set_aside.empty()) {
      ++set_aside_[frame.set_aside];
      continue;
    }
    auto& series = so_far_.series[content.file.series_uid.empty() ? "unnamed" : plain_text(content.file.series_uid)];
    series.modality = plain_text(content.file.modality);
    ++series.images;
  }
  hand_on(false);
}

void IntakeWatch::could_not_read(const std::filesystem::path& file, const std::string& why) {
  if (!watcher_) return;
  const std::lock_guard lock(guard_);
  ++so_far_.read;
  ++so_far_.broken;
  if (so_far_.broken == 1) so_far_.first_broken = plain_text(file.string() + " " + why);
  hand_on(false);
}

void IntakeWatch::finish() {
  if (!watcher_) return;
  const std::lock_guard lock(guard_);
  hand_on(true);
}

void IntakeWatch::hand_on(bool even_if_soon) {
  constexpr auto kNowAndThen = std::chrono::milliseconds(100);
  const auto now = std::chrono::steady_clock::now();
  if (!even_if_soon && now - told_ < kNowAndThen) return;
  told_ = now;
  so_far_.set_aside.clear();
  for (const auto& [reason, images] : set_aside_)
    so_far_.set_aside.push_back(counted(images, "image", "images") + " set aside: " + plain_text(reason));
  watcher_(so_far_);
}

}  // namespace leastharm
