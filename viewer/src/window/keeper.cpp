#include "window/keeper.h"

#include <algorithm>

#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "imaging/whole_file.h"

namespace leastharm {

namespace fs = std::filesystem;

namespace {

constexpr std::chrono::milliseconds kBetweenViews{300};

}  // namespace

Keeper::Keeper(CaseFolder folder, std::vector<Outline> outlines, Deliver deliver)
    : folder_(std::move(folder)),
      outlines_(std::move(outlines)),
      root_(folder_.root()),
      deliver_(std::move(deliver)),
      worker_([this](const KeepRequest& request) { write(request); }) {}

void Keeper::keep_outlines(const std::vector<Outline>& outlines) {
  if (outlines == outlines_) return;
  if (outlines.empty())
    fs::remove(root_ / kOutlinesFile);
  else
    write_whole(root_ / kOutlinesFile, outlines_text(outlines));
  outlines_ = outlines;
}

void Keeper::write(const KeepRequest& request) {
  Kept kept;
  const CaseFile former = folder_.file;
  try {
    CaseFile& file = folder_.file;
    file = request.draft.file;
    // The count of the plan's states only grows, also when a person takes steps back.
    file.plan_version = former.plan_version;
    file.last_plan_sha256 = former.last_plan_sha256;
    for (const MarkRecord& record : request.draft.file.marks) {
      const Mask* mask = request.draft.mask_of(record);
      if (mask != nullptr && (record.file.empty() || !fs::exists(root_ / record.file)))
        folder_.put_mark(record, *mask);
    }
    if (file.materials_sha256 != former.materials_sha256 ||
        file.confidence_sha256 != former.confidence_sha256) {
      folder_.write_map(*request.volumes.materials, *request.volumes.confidence);
      if (request.corrections) write_labels(*request.corrections, root_ / kCorrectionsFile);
    }
    folder_.save();
    keep_outlines(request.draft.outlines);
  } catch (const std::exception& fault) {
    folder_.file = former;
    kept.fault = fault.what();
  }
  kept.plan_version = folder_.file.plan_version;
  kept.last_plan_sha256 = folder_.file.last_plan_sha256;
  kept.marks = folder_.file.marks;
  deliver_(std::move(kept));
}

ViewKeeper::ViewKeeper(fs::path path, const ViewState& known)
    : path_(std::move(path)), written_(to_json_text(known)), worker_([this](const std::string& text) { write(text); }) {}

void ViewKeeper::write(const std::string& text) {
  if (text == written_) return;
  try {
    write_whole(path_, text);
    written_ = text;
  } catch (const BadInput&) {  // where a person was looking is not worth a message
  }
  worker_.rest(kBetweenViews);  // a line that is dragged is not written at every step
}

}  // namespace leastharm
