#pragma once

#include <functional>
#include <memory>
#include <string>

#include "window/draft.h"
#include "window/ground.h"
#include "window/latest_worker.h"

namespace leastharm {

/// What is to be kept.
struct KeepRequest {
  Draft draft;
  Volumes volumes;
  std::shared_ptr<const Volume<std::uint8_t>>
      corrections;        ///< null where nothing was ever corrected
  std::string view_json;  ///< where the person was looking; empty = leave as it is
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
  Keeper(CaseFolder folder, Deliver deliver);

  void keep(KeepRequest request) { worker_.ask(std::move(request)); }
  [[nodiscard]] bool idle() const { return worker_.idle(); }
  [[nodiscard]] const std::filesystem::path& root() const { return root_; }

 private:
  void write(const KeepRequest& request);
  CaseFolder folder_;
  std::filesystem::path root_;
  Deliver deliver_;
  LatestWorker<KeepRequest> worker_;
};

inline constexpr const char* kViewFile = "view.json";
inline constexpr const char* kCorrectionsFile = "corrections.nrrd";

}  // namespace leastharm
