#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace leastharm {

/// A folder that proves its own completeness, readable with no program at all: BagIt 1.0 (RFC 8493)
/// with SHA-256. It is filled beside its place and renamed at the end, so a half-written one never
/// stands there.
class Bag {
 public:
  /// Throws BadInput where something is at `place` already, or it cannot be written.
  explicit Bag(std::filesystem::path place);
  Bag(const Bag&) = delete;
  Bag& operator=(const Bag&) = delete;
  ~Bag();  ///< takes an unfinished bag away

  /// Into data/; `name` is relative to it, with slashes. Throws BadInput for a name that leaves it
  /// or occurs twice.
  void add_text(const std::string& name, std::string_view bytes);
  void add_file(const std::string& name, const std::filesystem::path& from);
  /// A file being written by someone else: where to, and then to be told.
  [[nodiscard]] std::filesystem::path place_for(const std::string& name);
  /// Manifests and bag-info.txt (`info`: labels and values, in order; Payload-Oxum is added); puts
  /// the bag in its place.
  void finish(const std::vector<std::pair<std::string, std::string>>& info);

 private:
  std::filesystem::path place_, beside_;
  std::vector<std::string> names_;
  bool finished_ = false;
};

}  // namespace leastharm
