// Whether what is to be sampled is still what was planned for.
#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "planner/text.h"
#include "planner/transfer.h"

namespace leastharm {
namespace {

constexpr double kAround_mm = 4;      // places are looked at with what lies about them: one voxel is noise
constexpr double kLeastChange_hu = 60;   // loose fibre 0.06 g/cm3 denser; other scanners and kernels stay below
constexpr std::size_t kMostPlaces = 20000, kLeastPlaces = 20;

/// Mean HU about a place, or nothing where the scan does not show it.
std::optional<double> hu_about(const Volume<std::int16_t>& hu, const RigidTransform& motion, const Vec3& at) {
  double sum = 0;
  for (int s = 0; s < 7; ++s) {
    Vec3 place = at;
    if (s < 6) place[s / 2] += s % 2 == 0 ? kAround_mm : -kAround_mm;
    const VoxelIndex v = hu.grid.voxel_at(motion.apply(place));
    if (!hu.grid.contains(v) || hu.at(v) == kNoReadingHu) return std::nullopt;
    sum += hu.at(v) / 7.0;
  }
  return sum;
}

/// Places of a cavity whose surroundings lie in it too: borders change with a part of a millimetre.
std::vector<Vec3> places_within(const Mask& mask) {
  std::vector<Vec3> all;
  for (int k = 0; k < mask.box[2]; ++k)
    for (int j = 0; j < mask.box[1]; ++j)
      for (int i = 0; i < mask.box[0]; ++i) {
        const VoxelIndex v{mask.corner.i + i, mask.corner.j + j, mask.corner.k + k};
        if (!mask.contains(v)) continue;
        const Vec3 at = mask.grid.lps_from_index({double(v.i), double(v.j), double(v.k)});
        bool within = true;
        for (int s = 0; s < 6 && within; ++s)
          within = mask.contains(mask.grid.voxel_at(at + (s % 2 == 0 ? kAround_mm : -kAround_mm) * Vec3::Unit(s / 2)));
        if (within) all.push_back(at);
      }
  std::vector<Vec3> some;
  const std::size_t count = std::min(all.size(), kMostPlaces);
  for (std::size_t n = 0; n < count; ++n) some.push_back(all[n * all.size() / count]);
  return some;
}

double quantile_of(std::vector<double> values, double share) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::ranges::nth_element(values, at);
  return *at;
}

double median_of(const std::vector<double>& values) { return quantile_of(values, 0.5); }

/// Standard deviation of changes that are noise alone: by those nearest to none, where a part was changed; by the spread
/// about their middle, where all was.
double noise_of(const std::vector<double>& change) {
  constexpr double kTenthOfNormal = 0.1257, kMedianOfNormal = 0.6745;   // points of a standard normal's size
  const double middle = median_of(change);
  std::vector<double> size, off;
  for (const double c : change) size.push_back(std::abs(c)), off.push_back(std::abs(c - middle));
  return std::min(quantile_of(size, 0.1) / kTenthOfNormal, median_of(off) / kMedianOfNormal);
}

Contents contents_of(const Mark& cavity, const Volume<std::int16_t>& planning, const Volume<std::int16_t>& day,
                     const Registration& registration) {
  Contents contents{.cavity = cavity.name};
  std::vector<double> then, now, change;
  for (const Vec3& at : places_within(cavity.mask)) {
    const auto was = hu_about(planning, {}, at), is = hu_about(day, registration.day_from_planning, at);
    if (!was || !is) continue;
    then.push_back(registration.gain * *was + registration.offset_hu);   // as the day's scanner would read it
    now.push_back(*is);
    change.push_back(now.back() - then.back());
  }
  if (change.size() < kLeastPlaces) return contents;
  contents.places = static_cast<int>(change.size());
  contents.planned_hu = median_of(then);
  contents.day_hu = median_of(now);
  const double counts_hu = std::max(kLeastChange_hu, 4 * noise_of(change));
  contents.changed = static_cast<double>(std::ranges::count_if(change, [&](double c) { return std::abs(c) > counts_hu; })) /
                     static_cast<double>(change.size());
  return contents;
}

}  // namespace

std::vector<Contents> contents_on_the_day(const Body& planning, const Volume<std::int16_t>& planning_hu,
                                          const Volume<std::int16_t>& day_hu, const Registration& registration) {
  std::vector<Contents> all;
  for (const Mark& mark : planning.marks)
    if (mark.kind == MarkKind::cavity) all.push_back(contents_of(mark, planning_hu, day_hu, registration));
  return all;
}

void check_contents(const std::vector<Contents>& all) {
  constexpr double kMostChanged = 0.05;
  for (const Contents& c : all)
    if (c.places > 0 && c.changed > kMostChanged)
      throw NoAnswer("contents: " + fixed(100 * c.changed, 0) + " % of the cavity \"" + c.cavity +
                     "\" is not what was planned for (limit 5 %; about " + fixed(c.planned_hu, 0) + " HU then, " +
                     fixed(c.day_hu, 0) + " HU now): it was emptied, filled or packed anew. Find out why; plan anew on "
                     "this CT with --replan DIR");
}

nlohmann::json to_json(const std::vector<Contents>& all) {
  nlohmann::json list = nlohmann::json::array();
  for (const Contents& c : all)
    list.push_back({{"cavity", c.cavity}, {"places", c.places}, {"changed_fraction", c.changed},
                    {"planned_hu", c.planned_hu}, {"day_hu", c.day_hu}});
  return list;
}

}  // namespace leastharm
