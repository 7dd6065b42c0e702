#include "intake_stack.h"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dicom_pixels.h"
#include "intake_spacing.h"
#include "intake_text.h"

namespace leastharm {
namespace {

constexpr std::size_t kLeastSlices = 3;
constexpr double kSteepest_deg = 45;
constexpr double kFarthest = 1e6;   // pixels: beyond it all is refused anyway
constexpr double kStill = 0.05;   // pixels: a sideways drift below this is a writer's rounding

Vec3 normal_of(const Frame& frame) { return frame.row.cross(frame.column).normalized(); }

const Frame& frame_of(const Scan& scan, const PlacedSlice& slice) { return scan.frames[slice.frame]; }

/// The slices in order along their normal, measured from the first of them.
std::vector<PlacedSlice> ordered(const Scan& scan, const FrameGroup& group) {
  const Vec3 normal = normal_of(scan.frames[group.frames.front()]);
  std::vector<PlacedSlice> slices;
  for (const std::size_t f : group.frames) slices.push_back({f, normal.dot(scan.frames[f].position_lps_mm), 0, 0});
  std::stable_sort(slices.begin(), slices.end(),
                   [](const PlacedSlice& a, const PlacedSlice& b) { return a.along_mm < b.along_mm; });
  const Frame& first = frame_of(scan, slices.front());
  for (PlacedSlice& slice : slices) {
    const Vec3 from_first = frame_of(scan, slice).position_lps_mm - first.position_lps_mm;
    slice.along_mm = normal.dot(from_first);
    slice.i_shift = first.row.dot(from_first) / first.column_spacing_mm;
    slice.j_shift = first.column.dot(from_first) / first.row_spacing_mm;
  }
  return slices;
}

bool same_pixels(const Scan& scan, const PlacedSlice& a, const PlacedSlice& b) {
  const Frame &f = frame_of(scan, a), &g = frame_of(scan, b);
  const PixelFormat& format = scan.files[f.file].format;
  std::vector<std::int16_t> one(static_cast<std::size_t>(format.columns) * static_cast<std::size_t>(format.rows));
  std::vector<std::int16_t> other(one.size());
  PixelReader reader;
  reader.read(scan.files[f.file], f, one);
  reader.read(scan.files[g.file], g, other);
  return one == other;
}

/// Keeps one of the slices that lie at one place with equal pixels; refuses where the pixels differ.
void drop_doubles(const Scan& scan, StackPlan& plan) {
  std::vector<PlacedSlice>& slices = plan.slices;
  const double usual = (slices.back().along_mm - slices.front().along_mm) / static_cast<double>(slices.size());
  const double same_mm = std::clamp(0.01 * usual, 0.001, 0.02);
  std::vector<PlacedSlice> kept{slices.front()};
  std::vector<double> differing;
  std::size_t doubled = 0;
  for (std::size_t n = 1; n < slices.size(); ++n) {
    const PlacedSlice &last = kept.back(), &next = slices[n];
    const bool one_place = next.along_mm - last.along_mm <= same_mm;
    if (!one_place) {
      kept.push_back(next);
      continue;
    }
    const bool beside = std::abs(next.i_shift - last.i_shift) > kStill || std::abs(next.j_shift - last.j_shift) > kStill;
    if (beside || !same_pixels(scan, last, next)) {
      const Frame& frame = frame_of(scan, next);
      differing.push_back(normal_of(frame).dot(frame.position_lps_mm));
    } else {
      ++doubled;
    }
  }
  if (!differing.empty())
    plan.findings.push_back({Level::refused, counted(differing.size(), "place holds", "places hold") +
                                                 " two different slices (at " + mm_text(differing.front()) +
                                                 (differing.size() > 1 ? " to " + mm_text(differing.back()) : "") +
                                                 " along the stack): two acquisitions in one series? export them as two series"});
  if (doubled > 0)
    plan.findings.push_back({Level::mended, counted(doubled, "slice is", "slices are") +
                                                " there twice with equal pixels; one of each is used"});
  slices = std::move(kept);
}

/// Slices that drift sideways from one to the next stand askew on their line: the gantry was tilted.
void settle_shear(const Scan& scan, StackPlan& plan) {
  double drift = 0, low_i = 0, low_j = 0, high_i = 0, high_j = 0;
  for (const PlacedSlice& s : plan.slices) {
    drift = std::max({drift, std::abs(s.i_shift), std::abs(s.j_shift)});
    low_i = std::min(low_i, s.i_shift), high_i = std::max(high_i, s.i_shift);
    low_j = std::min(low_j, s.j_shift), high_j = std::max(high_j, s.j_shift);
  }
  if (drift <= kStill) {
    for (PlacedSlice& s : plan.slices) s.i_shift = s.j_shift = 0;
    return;
  }
  const Frame &first = frame_of(scan, plan.slices.front()), &last = frame_of(scan, plan.slices.back());
  const Vec3 line = last.position_lps_mm - first.position_lps_mm;
  const double along = plan.slices.back().along_mm;
  plan.tilt_deg = std::atan2((line - along * normal_of(first)).norm(), along) * 180 / std::numbers::pi;
  if (plan.tilt_deg > kSteepest_deg) {
    plan.findings.push_back({Level::refused, "the slices lie beside each other rather than behind each other (" +
                                                 std::to_string(static_cast<int>(plan.tilt_deg)) + " degrees)"});
    return;
  }
  plan.is_shifted = true;
  const double i0 = std::floor(low_i + kStill), j0 = std::floor(low_j + kStill);
  plan.grid.size[0] += static_cast<int>(std::min(std::ceil(high_i - kStill) - i0, kFarthest));
  plan.grid.size[1] += static_cast<int>(std::min(std::ceil(high_j - kStill) - j0, kFarthest));
  plan.grid.origin_lps_mm = plan.grid.lps_from_index({i0, j0, 0});
  for (PlacedSlice& s : plan.slices) s.i_shift -= i0, s.j_shift -= j0;
  char angle[32];
  std::snprintf(angle, sizeof angle, "%.2f degrees", plan.tilt_deg);
  plan.findings.push_back({Level::mended, std::string("the slices stand askew by ") + angle +
                                              " (gantry tilt); they are resampled onto a right-angled grid"});
}

void tell_gaps(const SliceSpacing& spacing, double first_mm, bool allow_gaps,
               std::vector<Finding>& findings) {
  if (spacing.gaps.empty()) return;
  std::size_t missing = 0;
  std::string places;
  for (std::size_t n = 0; n < spacing.gaps.size(); ++n) {
    const Gap& gap = spacing.gaps[n];
    missing += static_cast<std::size_t>(gap.missing);
    if (n < 5) places += (n > 0 ? "; " : "") + mm_text(first_mm + gap.from_mm) + " to " + mm_text(first_mm + gap.to_mm);
    if (n == 5) places += "; ...";
  }
  const std::string what = counted(missing, "slice is", "slices are") + " missing along the stack (from " + places + ")";
  if (allow_gaps) findings.push_back({Level::mended, what + "; filled by interpolation"});
  else findings.push_back({Level::refused, what + ": find the missing files, or allow gaps (--allow-gaps) to fill them by interpolation"});
}

/// Loss in packing changes HU, and nothing brings them back.
void tell_loss(const Scan& scan, StackPlan& plan) {
  const auto lossy = static_cast<std::size_t>(std::count_if(plan.slices.begin(), plan.slices.end(), [&](const PlacedSlice& s) {
    return scan.files[frame_of(scan, s).file].lossy;
  }));
  if (lossy > 0)
    plan.findings.push_back({Level::note, counted(lossy, "slice was", "slices were") +
                                              " once compressed with loss: small HU differences in them mean nothing"});
}

/// From which scanned slices each slice of the grid is made.
void mix_slices(StackPlan& plan) {
  const double step = plan.grid.spacing_mm.z();
  const std::vector<PlacedSlice>& slices = plan.slices;
  std::size_t below = 0;
  for (int k = 0; k < plan.grid.size[2]; ++k) {
    const double at = k * step;
    while (below + 2 < slices.size() && slices[below + 1].along_mm <= at) ++below;
    const double from = slices[below].along_mm, to = slices[below + 1].along_mm;
    const double weight = std::clamp((at - from) / (to - from), 0.0, 1.0);
    // Within a hundredth of a step, a scanned slice is taken as it is.
    const double near = 0.01 * step / (to - from);
    plan.mixes.push_back({below, below + 1, weight < near ? 0 : weight > 1 - near ? 1 : weight});
  }
}

void settle_spacing(StackPlan& plan, double first_mm, bool allow_gaps, double thickness_mm) {
  std::vector<double> places;
  for (const PlacedSlice& s : plan.slices) places.push_back(s.along_mm);
  const SliceSpacing spacing = find_spacing(places);
  plan.grid.spacing_mm.z() = spacing.step_mm;
  plan.grid.size[2] = spacing.count;
  tell_gaps(spacing, first_mm, allow_gaps, plan.findings);
  plan.is_mixed = !spacing.even || !spacing.gaps.empty();
  if (!spacing.even)
    plan.findings.push_back({Level::mended, "the slices are spaced unevenly; they are resampled onto an even grid of " +
                                                mm_text(spacing.step_mm) + " (the finest spacing)"});
  if (spacing.even && spacing.worst_mm > 0.01)
    plan.findings.push_back({Level::note, "slice positions are rounded; the farthest lies " + mm_text(spacing.worst_mm) +
                                              " off the even grid"});
  if (thickness_mm > 0 && thickness_mm < 0.75 * spacing.step_mm)
    plan.findings.push_back({Level::note, "slices of " + mm_text(thickness_mm) + " (nominal) stand " +
                                              mm_text(spacing.step_mm) + " apart: what lies between them was not measured"});
  if (!plan.is_mixed) {
    // The even grid's own places, so that a rounded position moves no voxel twice.
    for (std::size_t n = 0; n < plan.slices.size(); ++n) plan.mixes.push_back({n, n, 0});
    return;
  }
  mix_slices(plan);
}

/// Positions that a fault has thrown far off would make a volume of nothing but gaps.
void check_size(StackPlan& plan, const PixelFormat& format) {
  constexpr double kMostGrowth = 8;
  const double voxels = 1.0 * plan.grid.size[0] * plan.grid.size[1] * plan.grid.size[2];
  const double scanned = 1.0 * format.columns * format.rows * static_cast<double>(plan.slices.size());
  const double memory = static_cast<double>(sysconf(_SC_PHYS_PAGES)) * static_cast<double>(sysconf(_SC_PAGE_SIZE));
  if (voxels > kMostGrowth * scanned)
    plan.findings.push_back({Level::refused, "the slices lie so far apart that most of the volume would be made up; their "
                                             "positions are wrong, or they are no one stack"});
  else if (2 * voxels > 0.8 * memory)
    plan.findings.push_back({Level::refused, "the volume is larger than memory"});
}

}  // namespace

bool StackPlan::usable() const {
  return std::none_of(findings.begin(), findings.end(), [](const Finding& f) { return f.level == Level::refused; });
}

StackPlan plan_stack(const Scan& scan, const FrameGroup& group, bool allow_gaps) {
  StackPlan plan;
  plan.findings = group.findings;
  const bool left_out = allow_gaps && !group.frames.empty();
  if (!group.damaged.empty())
    plan.findings.push_back({left_out ? Level::mended : Level::refused,
                             group.damaged + (left_out ? ": left out" : ": copy again what is broken")});
  if (group.frames.empty()) return plan;
  plan.slices = ordered(scan, group);
  const Frame& first = frame_of(scan, plan.slices.front());
  const PixelFormat& format = scan.files[first.file].format;
  plan.grid.size = {format.columns, format.rows, static_cast<int>(plan.slices.size())};
  plan.grid.spacing_mm = {first.column_spacing_mm, first.row_spacing_mm, 1};
  plan.grid.origin_lps_mm = first.position_lps_mm.array() + 0.0;   // no negative zeros
  const Vec3 normal = normal_of(first), row = first.row.normalized();
  plan.grid.direction << row, normal.cross(row), normal;
  plan.grid.direction = plan.grid.direction.array() + 0.0;
  drop_doubles(scan, plan);
  if (plan.slices.size() < kLeastSlices) {
    plan.findings.push_back({Level::refused, counted(plan.slices.size(), "slice makes", "slices make") +
                                                 " no volume; at least 3 are needed: give the folder that holds the whole series"});
    return plan;
  }
  tell_loss(scan, plan);
  settle_shear(scan, plan);
  settle_spacing(plan, normal.dot(first.position_lps_mm), allow_gaps, first.thickness_mm);
  check_size(plan, format);
  return plan;
}

}  // namespace leastharm
