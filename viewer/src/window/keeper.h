#pragma once

#include <functional>
#include <memory>
#include <string>

#include "window/draft.h"
#include "window/ground.h"
#include "window/latest_worker.h"
#include "window/view_state.h"

namespace leastharm {

/// What is to be kept.
struct KeepRequest {
  Draft draft;
  Volumes volumes;
  std::shared_ptr<const Volume<std::uint8_t>>
      corrections;  ///< null where nothing was ever corrected
};

/// What became of it.
struct Kept {
  std::string fault;  ///< why nothing was written; empty where all was
  int plan_version = 0;
  std::string last_plan_sha256;
  std::vector<MarkRecord> marks;  ///< with the names of their files
};

/// Writes a case in a thread of its own after every change. Holds the case's lock while it lives;
/// its end waits until the last change is written.
class Keeper {
 public:
  using Deliver = std::function<void(Kept)>;  ///< called on the keeper's thread
  /// `outlines`: those that the folder already keeps.
  Keeper(CaseFolder folder, std::vector<Outline> outlines, Deliver deliver);

  void keep(KeepRequest request) { worker_.ask(std::move(request)); }
  [[nodiscard]] bool idle() const { return worker_.idle(); }
  [[nodiscard]] const std::filesystem::path& root() const { return root_; }

 private:
  void write(const KeepRequest& request);
  void keep_outlines(const std::vector<Outline>& outlines);
  CaseFolder folder_;
  std::vector<Outline> outlines_;
  std::filesystem::path root_;
  Deliver deliver_;
  LatestWorker<KeepRequest> worker_;
};

/// Writes where a person is looking, in a thread of its own, now and then while it moves; its end writes the last.
class ViewKeeper {
 public:
  /// `known`: what the file says already, or what would be taken without one.
  ViewKeeper(std::filesystem::path path, const ViewState& known);
  void keep(const ViewState& view) { worker_.ask(to_json_text(view)); }

 private:
  void write(const std::string& text);
  std::filesystem::path path_;
  std::string written_;
  LatestWorker<std::string> worker_;
};

inline constexpr const char* kViewFile = "view.json";
inline constexpr const char* kOutlinesFile = "outlines.json";
inline constexpr const char* kCorrectionsFile = "corrections.nrrd";

}  // namespace leastharm
