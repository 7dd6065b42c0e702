#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "intake_scan.h"
#include "intake_text.h"

namespace leastharm {
namespace {

constexpr std::size_t kLeastSlices = 3;

/// By what the frames say, never by name or order of files.
bool before(const Scan& scan, std::size_t a, std::size_t b) {
  const auto key = [&](const Frame& x) {
    const PixelFormat& format = scan.files[x.file].format;
    return std::tuple(x.kernel, x.kvp, format.columns, format.rows, x.position_lps_mm.z(), x.position_lps_mm.y(),
                      x.position_lps_mm.x(), x.instance_number, x.index);
  };
  return key(scan.frames[a]) < key(scan.frames[b]);
}

bool same_volume(const Scan& scan, const Frame& a, const Frame& b) {
  const DicomFile &f = scan.files[a.file], &g = scan.files[b.file];
  // Writers round: what a float's last digits change must not split a stack.
  const auto near = [](double x, double y) { return std::abs(x - y) <= 1e-3 * std::max(std::abs(x), std::abs(y)); };
  return f.format.columns == g.format.columns && f.format.rows == g.format.rows && a.kernel == b.kernel &&
         near(a.kvp, b.kvp) && near(a.row_spacing_mm, b.row_spacing_mm) &&
         near(a.column_spacing_mm, b.column_spacing_mm) && f.frame_of_reference_uid == g.frame_of_reference_uid &&
         (a.row - b.row).cwiseAbs().maxCoeff() < 1e-3 && (a.column - b.column).cwiseAbs().maxCoeff() < 1e-3;
}

/// One finding a reason, with the number of images.
void tell_set_aside(const Scan& scan, const std::vector<std::size_t>& frames, FrameGroup& group) {
  std::map<std::string, std::vector<std::size_t>> by_reason;
  for (const std::size_t f : frames) by_reason[scan.frames[f].set_aside].push_back(f);
  for (const auto& [reason, members] : by_reason) {
    const Frame& first = scan.frames[members.front()];
    const std::string file = scan.files[first.file].path.filename().string();
    if (first.damaged) {
      group.damaged += (group.damaged.empty() ? "" : "; ") + counted(members.size(), "slice is ", "slices are ") + reason +
                       " (" + file + (members.size() > 1 ? ", ..." : "") + ")";
    } else {
      const Level level = group.frames.empty() ? Level::refused : Level::note;
      group.findings.push_back({level, counted(members.size(), "image", "images") + " set aside: " + reason});
    }
  }
}

/// One or two odd slices beside a volume are no volume of their own.
void drop_odd_slices(std::vector<FrameGroup>& groups) {
  const auto is_volume = [](const FrameGroup& g) { return g.frames.size() >= kLeastSlices; };
  const auto volume = std::find_if(groups.begin(), groups.end(), is_volume);
  if (volume == groups.end()) return;
  std::size_t odd = 0;
  for (const FrameGroup& g : groups) odd += is_volume(g) ? 0 : g.frames.size();
  if (odd > 0)
    volume->findings.push_back(
        {Level::note, counted(odd, "image", "images") +
                          " set aside: of another orientation, size, spacing, kernel or energy than the rest, and too few for a volume"});
  std::erase_if(groups, [&](const FrameGroup& g) { return !is_volume(g); });
}

std::vector<FrameGroup> volumes_of(const Scan& scan, const std::string& uid, std::vector<std::size_t> frames) {
  std::vector<FrameGroup> groups;
  std::vector<std::size_t> aside;
  std::sort(frames.begin(), frames.end(), [&](std::size_t a, std::size_t b) { return before(scan, a, b); });
  for (const std::size_t f : frames) {
    if (!scan.frames[f].set_aside.empty()) {
      aside.push_back(f);
      continue;
    }
    const auto home = std::find_if(groups.begin(), groups.end(), [&](const FrameGroup& g) {
      return same_volume(scan, scan.frames[g.frames.front()], scan.frames[f]);
    });
    (home == groups.end() ? groups.emplace_back() : *home).frames.push_back(f);
  }
  drop_odd_slices(groups);
  if (groups.empty()) groups.emplace_back();
  for (std::size_t n = 0; n < groups.size(); ++n) {
    groups[n].uid = groups.size() == 1 ? uid : uid + "#" + std::to_string(n + 1);
    groups[n].modality = scan.files[scan.frames[frames.front()].file].modality;
  }
  tell_set_aside(scan, aside, groups.front());
  return groups;
}

}  // namespace

std::vector<FrameGroup> group_frames(const Scan& scan) {
  std::map<std::string, std::vector<std::size_t>> by_series;
  for (std::size_t f = 0; f < scan.frames.size(); ++f)
    by_series[scan.files[scan.frames[f].file].series_uid].push_back(f);
  std::vector<FrameGroup> groups;
  for (auto& [uid, frames] : by_series)
    for (FrameGroup& group : volumes_of(scan, uid.empty() ? "unnamed" : uid, std::move(frames)))
      groups.push_back(std::move(group));
  return groups;
}

}  // namespace leastharm
