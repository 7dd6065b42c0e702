#include "imaging/intake.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "intake_read.h"
#include "intake_scan.h"
#include "intake_stack.h"
#include "intake_watch.h"
#include "plain_text.h"
#include "volume_image.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

bool is_volume_file(const fs::path& path) {
  std::error_code error;
  return is_volume_file_name(path) && fs::is_regular_file(path, error);
}

std::string file_uid(const fs::path& path) { return "file:" + plain_text(path.filename().string()); }

/// Findings name files, and names of files are any bytes.
void make_plain(std::vector<Finding>& findings) {
  for (Finding& f : findings) f.what = plain_text(f.what);
}

Inspection inspect_volume_file(const fs::path& path) {
  Series series;
  series.uid = file_uid(path);
  series.modality = "CT";   // what the file itself cannot say is taken from its being given as one
  try {
    const VolumeHeader header = read_volume_header(path);
    series.grid = header.grid;
    series.slices = header.grid.size[2];
    series.findings = header.findings;
    series.usable = true;
  } catch (const BadInput& error) {
    series.findings.push_back({Level::refused, error.what()});
  }
  make_plain(series.findings);
  return {{series}, 0, {}};
}

Series series_of(const Scan& scan, const FrameGroup& group) {
  const StackPlan plan = plan_stack(scan, group, false);
  Series series;
  series.uid = group.uid;
  series.modality = group.modality;
  series.slices = group.frames.empty() ? 0 : plan.grid.size[2];
  series.grid = plan.grid;
  series.tilt_deg = plan.tilt_deg;
  series.usable = plan.usable() && !group.frames.empty();
  series.findings = plan.findings;
  make_plain(series.findings);
  return series;
}

std::string number_text(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return text;
}

/// The allow-list: what a printout may say of the acquisition.
std::map<std::string, std::string> facts_of(const Scan& scan, const StackPlan& plan) {
  const Frame& frame = scan.frames[plan.slices.front().frame];
  std::map<std::string, std::string> facts{{"modality", "CT"}};
  if (frame.kvp > 0) facts["kVp"] = number_text(frame.kvp);
  if (!frame.kernel.empty()) facts["kernel"] = frame.kernel;
  if (frame.thickness_mm > 0) facts["slice_thickness_mm"] = number_text(frame.thickness_mm);
  if (!frame.tube_current_ma.empty()) facts["tube_current_mA"] = frame.tube_current_ma;
  if (!frame.exposure_mas.empty()) facts["exposure_mAs"] = frame.exposure_mas;
  return facts;
}

std::string refusals(const std::vector<Finding>& findings) {
  std::string text;
  for (const Finding& f : findings)
    if (f.level == Level::refused) text += (text.empty() ? "" : "; ") + f.what;
  return text;
}

/// What was amiss with the path: it often explains why a volume is not whole.
std::string also(const Scan& scan) {
  std::string text;
  for (const Finding& f : scan.findings) text += "; " + f.what;
  return text;
}

/// The one group that was asked for, or the only usable one.
std::size_t choose(const fs::path& path, const Scan& scan, const std::vector<FrameGroup>& groups, const std::vector<StackPlan>& plans,
                   const std::string& uid) {
  std::vector<std::size_t> usable;
  std::string names, reasons;
  for (std::size_t n = 0; n < groups.size(); ++n) {
    if (groups[n].uid == uid) return n;
    names += "\n  " + groups[n].uid;
    if (!groups[n].frames.empty() && plans[n].usable()) usable.push_back(n);
    else reasons += "\n  " + groups[n].uid + ": " + refusals(plans[n].findings);
  }
  if (!uid.empty()) throw BadInput(path.string() + " has no series " + uid + "; it has:" + names);
  if (groups.empty()) throw BadInput(path.string() + " holds no DICOM image" + also(scan));
  if (usable.empty()) throw BadInput(path.string() + " holds no usable CT volume:" + reasons + also(scan));
  if (usable.size() == 1) return usable.front();
  std::string choices;
  for (const std::size_t n : usable) choices += "\n  " + groups[n].uid;
  throw BadInput(path.string() + " holds several volumes; name one of them (--series):" + choices);
}

void tell_padding(std::size_t missing, CtVolume& ct) {
  if (missing == 0) return;
  char text[96];
  std::snprintf(text, sizeof text, "%.1f %% of the voxels have no reading (padding): they count as neither air nor matter",
                100.0 * static_cast<double>(missing) / static_cast<double>(ct.hu.values.size()));
  ct.findings.push_back({Level::note, text});
}

CtVolume read_dicom(const fs::path& path, const IntakeOptions& options) {
  IntakeWatch unwatched({});
  const Scan scan = scan_path(path, unwatched);
  const std::vector<FrameGroup> groups = group_frames(scan);
  std::vector<StackPlan> plans;
  for (const FrameGroup& group : groups) plans.push_back(plan_stack(scan, group, options.allow_gaps));
  const std::size_t n = choose(path, scan, groups, plans, options.series_uid);
  if (groups[n].frames.empty() || !plans[n].usable())
    throw BadInput(path.string() + ", series " + groups[n].uid + ": " + refusals(plans[n].findings) + also(scan));
  CtVolume ct;
  ct.findings = scan.findings;
  ct.findings.insert(ct.findings.end(), plans[n].findings.begin(), plans[n].findings.end());
  HashedVolume read = read_stack(scan, plans[n], ct.findings);
  ct.hu = std::move(read.hu);
  ct.sha256 = std::move(read.sha256);
  tell_padding(read.no_reading, ct);
  ct.series_uid = groups[n].uid;
  ct.frame_of_reference_uid = scan.files[scan.frames[groups[n].frames.front()].file].frame_of_reference_uid;
  ct.facts = facts_of(scan, plans[n]);
  return ct;
}

CtVolume read_volume_file(const fs::path& path, const IntakeOptions& options) {
  if (!options.series_uid.empty() && options.series_uid != file_uid(path))
    throw BadInput(path.string() + " has no series " + options.series_uid + "; it holds " + file_uid(path));
  const VolumeHeader header = read_volume_header(path);
  CtVolume ct;
  ct.hu = {header.grid, read_hu_values(header)};
  ct.sha256 = sha256_hex(ct.hu);
  ct.series_uid = file_uid(path);
  ct.facts = {{"modality", "CT"}};
  ct.findings = header.findings;
  tell_padding(static_cast<std::size_t>(std::ranges::count(ct.hu.values, kNoReadingHu)), ct);
  return ct;
}

void shift_air(CtVolume& ct) {
  const long shift = std::lround(-1000 - ct.air_hu);
  if (shift == 0) return;
  for (std::int16_t& hu : ct.hu.values)
    if (hu != kNoReadingHu) hu = static_cast<std::int16_t>(std::clamp<long>(hu + shift, kNoReadingHu + 1, 32767));
  ct.sha256 = sha256_hex(ct.hu);
  ct.findings.push_back({Level::mended, "room air read " + std::to_string(std::lround(ct.air_hu)) +
                                            " HU; all HU were shifted by " + std::to_string(shift) + ", as asked"});
  ct.air_hu += static_cast<double>(shift);
}

void check_air(CtVolume& ct, bool correct) {
  constexpr double kWellSet_hu = 20;
  ct.air_hu = air_reading_hu(ct.hu);
  if (std::isnan(ct.air_hu)) {
    if (correct) ct.findings.push_back({Level::note, "no room air was found in the field, so HU were not shifted"});
    return;
  }
  if (correct) shift_air(ct);
  else if (std::abs(ct.air_hu + 1000) > kWellSet_hu)
    ct.findings.push_back({Level::note, "room air reads " + std::to_string(std::lround(ct.air_hu)) +
                                            " HU instead of -1000: the scanner's HU are off, and masses with them; "
                                            "--correct-air shifts all HU so that room air reads -1000"});
}

}  // namespace

Inspection inspect(const fs::path& path, const InspectionWatcher& watcher) {
  if (is_volume_file(path)) return inspect_volume_file(path);
  IntakeWatch watch(watcher);
  const Scan scan = scan_path(path, watch);
  watch.finish();
  Inspection inspection;
  inspection.non_image_files = scan.non_image_files;
  inspection.findings = scan.findings;
  make_plain(inspection.findings);
  for (const FrameGroup& group : group_frames(scan)) inspection.series.push_back(series_of(scan, group));
  return inspection;
}

CtVolume read_ct(const fs::path& path, const IntakeOptions& options) {
  CtVolume ct = is_volume_file(path) ? read_volume_file(path, options) : read_dicom(path, options);
  make_plain(ct.findings);
  check_air(ct, options.correct_air);
  return ct;
}

}  // namespace leastharm
