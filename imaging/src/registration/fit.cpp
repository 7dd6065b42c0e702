#include "fit.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>

#include "segment/distance.h"
#include "segment/parallel.h"

namespace leastharm::registration_detail {
namespace {

using segment_detail::for_chunks;
using segment_detail::worker_count;

constexpr double kInside_mm = 10;   // depth that counts as inside
constexpr double kCell_mm = 28;   // radius of the balls that are looked at one by one
constexpr std::size_t kMostProbes = 150000, kAllProbes = 3000000;

/// Air and support that hang together with the scan's border: what lies outside the object.
std::vector<std::uint8_t> outside_of(const Grid& grid, const std::vector<std::uint8_t>& object) {
  std::vector<std::uint8_t> outside(object.size(), 0);
  std::vector<VoxelIndex> open;
  const auto reach = [&](VoxelIndex v) {
    if (!grid.contains(v)) return;
    const std::size_t n = grid.offset(v);
    if (outside[n] != 0 || object[n] > 127) return;
    outside[n] = 1;
    open.push_back(v);
  };
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if (i == 0 || j == 0 || i + 1 == grid.size[0] || j + 1 == grid.size[1]) reach({i, j, k});
  while (!open.empty()) {
    const VoxelIndex v = open.back();
    open.pop_back();
    reach({v.i - 1, v.j, v.k}), reach({v.i + 1, v.j, v.k});
    reach({v.i, v.j - 1, v.k}), reach({v.i, v.j + 1, v.k});
    reach({v.i, v.j, v.k - 1}), reach({v.i, v.j, v.k + 1});
  }
  return outside;
}

/// Shift along the normal at which the day's profile looks most like the planned one; negative size where it cannot be
/// told.
double profile_distance(const Reader& planning, const Reader& day, const Fit& fit, const Probe& probe) {
  constexpr int kHalf = 10, kSearch = 20;   // steps
  constexpr double kStep_mm = 0.5;
  const Vec3 normal = probe.slope.normalized();
  std::array<double, 2 * kHalf + 1> planned{};
  std::array<double, 2 * (kHalf + kSearch) + 1> seen{};
  for (int s = -kHalf; s <= kHalf; ++s)
    planned[static_cast<std::size_t>(s + kHalf)] =
        fit.gain * planning.hu_at(probe.lps_mm + s * kStep_mm * normal) + fit.offset_hu;
  for (int s = -kHalf - kSearch; s <= kHalf + kSearch; ++s) {
    const Reading r = day.at(fit.motion.apply(probe.lps_mm + s * kStep_mm * normal));
    if (!r.inside) return -1;
    seen[static_cast<std::size_t>(s + kHalf + kSearch)] = r.hu;
  }
  std::array<double, 2 * kSearch + 1> misfit{};
  std::size_t best = kSearch;   // of equals, the least shift
  for (std::size_t d = 0; d < misfit.size(); ++d)
    for (std::size_t s = 0; s < planned.size(); ++s) misfit[d] += std::abs(seen[s + d] - planned[s]);
  for (std::size_t off = 1; off <= kSearch; ++off)
    for (const std::size_t d : {kSearch - off, kSearch + off})
      if (misfit[d] < misfit[best]) best = d;
  double fine = 0;
  if (best > 0 && best + 1 < misfit.size()) {
    const double a = misfit[best - 1], b = misfit[best], c = misfit[best + 1];
    if (a + c > 2 * b) fine = 0.5 * (a - c) / (a - 2 * b + c);
  }
  return std::abs(static_cast<double>(best) - kSearch + fine) * kStep_mm;
}

FitDistances distances_of(std::vector<double> sizes) {
  std::erase_if(sizes, [](double s) { return s < 0; });
  constexpr std::size_t kLeastPlaces = 50;
  if (sizes.size() < kLeastPlaces) return {};
  std::ranges::sort(sizes);
  double sum = 0;
  for (const double s : sizes) sum += s;
  return {static_cast<int>(sizes.size()), sum / static_cast<double>(sizes.size()), sizes[sizes.size() * 95 / 100]};
}

/// Whether a block and one of its six neighbours lie on different sides of half a share. Not for blocks on the grid's edge.
bool on_border(const Grid& grid, const std::vector<std::uint8_t>& share, std::size_t n) {
  const std::size_t row = static_cast<std::size_t>(grid.size[0]), slice = row * static_cast<std::size_t>(grid.size[1]);
  if (n < slice || n + slice >= share.size()) return false;
  const bool inside = share[n] > 127;
  for (const std::size_t step : {std::size_t{1}, row, slice})
    if ((share[n - step] > 127) != inside || (share[n + step] > 127) != inside) return true;
  return false;
}

template <typename Wanted>
FitDistances distances_at(const PlannedObject& planned, const std::vector<Probe>& probes, const Level& day,
                          const Fit& fit, int threads, Wanted wanted) {
  constexpr std::size_t kMostPlaces = 6000;
  std::vector<Probe> places;
  for (const Probe& p : probes)
    if (places.size() < kMostPlaces && wanted(planned.level.grid.offset(planned.level.grid.voxel_at(p.lps_mm))))
      places.push_back(p);
  const Reader before(planned.level), after(day);
  std::vector<double> sizes(places.size());
  for_chunks(static_cast<int>(places.size()), 64, worker_count(threads), [&](int, int first, int last) {
    for (int n = first; n < last; ++n)
      sizes[static_cast<std::size_t>(n)] = profile_distance(before, after, fit, places[static_cast<std::size_t>(n)]);
  });
  return distances_of(std::move(sizes));
}

struct CellShift {
  Vec3 middle{0, 0, 0};
  Shift shift;
};

/// Probes in order of place, for asking who is near.
class Neighbourhood {
 public:
  explicit Neighbourhood(const std::vector<Probe>& probes) {
    for (const Probe& p : probes) buckets_[key_of(p.lps_mm)].push_back(p);
  }
  /// At most `most` probes within `radius_mm` (up to a bucket's size), spread evenly; `found` says how many there are.
  [[nodiscard]] std::vector<Probe> about(const Vec3& at, double radius_mm, std::size_t most, std::size_t& found) const {
    std::vector<Probe> near;
    const auto middle = key_of(at);
    for (int c = -1; c <= 1; ++c)
      for (int b = -1; b <= 1; ++b)
        for (int a = -1; a <= 1; ++a) {
          const auto bucket = buckets_.find({middle[0] + a, middle[1] + b, middle[2] + c});
          if (bucket == buckets_.end()) continue;
          for (const Probe& p : bucket->second)
            if ((p.lps_mm - at).squaredNorm() <= radius_mm * radius_mm) near.push_back(p);
        }
    found = near.size();
    if (near.size() <= most) return near;
    std::vector<Probe> spread;
    for (std::size_t n = 0; n < most; ++n) spread.push_back(near[n * near.size() / most]);
    return spread;
  }

 private:
  static std::array<int, 3> key_of(const Vec3& p) {
    return {static_cast<int>(std::floor(p.x() / kCell_mm)), static_cast<int>(std::floor(p.y() / kCell_mm)),
            static_cast<int>(std::floor(p.z() / kCell_mm))};
  }
  std::map<std::array<int, 3>, std::vector<Probe>> buckets_;
};

/// Shifts of the balls about `middles`. Those that say nothing are left out.
std::vector<CellShift> ball_shifts(const std::vector<Vec3>& middles, const std::vector<Probe>& probes,
                                   const Reader& day, const Fit& fit, double most_sd_mm, int threads) {
  constexpr std::size_t kMostInBall = 600;
  const Neighbourhood neighbours(probes);
  std::vector<CellShift> shifts(middles.size());
  for_chunks(static_cast<int>(middles.size()), 4, worker_count(threads), [&](int, int first, int last) {
    for (int n = first; n < last; ++n) {
      CellShift& s = shifts[static_cast<std::size_t>(n)];
      s.middle = middles[static_cast<std::size_t>(n)];
      std::size_t found = 0;
      const std::vector<Probe> ball = neighbours.about(s.middle, kCell_mm, kMostInBall, found);
      s.shift = shift_of(ball, static_cast<double>(ball.size()) / static_cast<double>(std::max<std::size_t>(1, found)),
                         day, fit, most_sd_mm);
    }
  });
  std::erase_if(shifts, [](const CellShift& s) { return s.shift.determined == 0; });
  return shifts;
}

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::ranges::nth_element(values, middle);
  return *middle;
}

/// Shifts as several overlapping balls agree on them: one ball alone may have slid along what it looks at. Only of balls
/// that determine all directions.
std::vector<CellShift> agreed(std::vector<CellShift> shifts) {
  constexpr std::size_t kLeastBalls = 3;
  std::erase_if(shifts, [](const CellShift& s) { return s.shift.determined < 3; });
  std::vector<CellShift> answer;
  for (const CellShift& s : shifts) {
    std::array<std::vector<double>, 4> near;
    for (const CellShift& other : shifts) {
      if ((other.middle - s.middle).norm() > kCell_mm) continue;
      for (std::size_t a = 0; a < 3; ++a) near[a].push_back(other.shift.mm[static_cast<Eigen::Index>(a)]);
      near[3].push_back(other.shift.sd_mm);
    }
    if (near[0].size() < kLeastBalls) continue;
    answer.push_back(s);
    answer.back().shift.mm = {median_of(near[0]), median_of(near[1]), median_of(near[2])};
    answer.back().shift.sd_mm = median_of(near[3]);
  }
  return answer;
}

/// Lattice points inside the object at least `depth_mm` below its surface.
std::vector<Vec3> lattice_inside(const PlannedObject& planned, double step_mm, double depth_mm) {
  std::vector<Vec3> points;
  const Grid& g = planned.level.grid;
  std::array<int, 3> step{};
  for (std::size_t a = 0; a < 3; ++a)
    step[a] = std::max(1, static_cast<int>(std::lround(step_mm / g.spacing_mm[static_cast<Eigen::Index>(a)])));
  for (int k = step[2] / 2; k < g.size[2]; k += step[2])
    for (int j = step[1] / 2; j < g.size[1]; j += step[1])
      for (int i = step[0] / 2; i < g.size[0]; i += step[0]) {
        const float depth = planned.depth_mm[g.offset(i, j, k)];
        if (depth >= depth_mm && std::isfinite(depth)) points.push_back(g.lps_from_index({double(i), double(j), double(k)}));
      }
  return points;
}

std::string place(const char* what, const Vec3& p) {
  std::ostringstream text;
  text << what << " near (" << std::lround(p.x()) << ", " << std::lround(p.y()) << ", " << std::lround(p.z())
       << ") mm LPS of the planning CT";
  return text.str();
}

/// 95 % point of how far two motions carry probes apart.
double apart_mm(const std::vector<Probe>& probes, const RigidTransform& a, const RigidTransform& b) {
  std::vector<double> sizes;
  for (const Probe& p : probes) sizes.push_back((a.apply(p.lps_mm) - b.apply(p.lps_mm)).norm());
  std::ranges::sort(sizes);
  return sizes.empty() ? 0 : sizes[sizes.size() * 95 / 100];
}

struct HuRange {
  double least = 1e9, most = -1e9;   ///< the wrong way round where nothing was read
};

/// HU close about a place. Another slice thickness or kernel blurs borders otherwise, so a single value says too much.
HuRange range_about(const Reader& reader, const RigidTransform& motion, const Vec3& at) {
  constexpr double kAround_mm = 5;
  HuRange range;
  for (int s = 0; s < 7; ++s) {
    Vec3 place = at;
    if (s < 6) place[s / 2] += s % 2 == 0 ? kAround_mm : -kAround_mm;
    const Reading r = reader.at(motion.apply(place));
    if (!r.inside) continue;
    range.least = std::min(range.least, r.hu), range.most = std::max(range.most, r.hu);
  }
  return range;
}

}  // namespace

PlannedObject planned_object(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials, double spacing_mm,
                             int threads) {
  PlannedObject planned{.level = make_level(hu, spacing_mm, threads)};
  //                                  air    wrap  body  pack  bone  resin dense support
  planned.object = share_of(materials, planned.level, {false, true, true, true, true, true, true, false}, threads);
  planned.support = share_of(materials, planned.level, {false, false, false, false, false, false, false, true}, threads);
  planned.bone = share_of(materials, planned.level, {false, false, false, false, true, false, false, false}, threads);
  const segment_detail::Coarse blocks{planned.level.grid.size, {1, 1, 1}, planned.level.grid.spacing_mm};
  planned.depth_mm = segment_detail::distance_mm(blocks, outside_of(planned.level.grid, planned.object), threads);
  return planned;
}

void measure_distances(const PlannedObject& planned, const Level& day, const Fit& fit, int threads,
                       Registration& answer) {
  const std::vector<Probe> probes = probes_of(planned.level, planned.object, planned.support, kMostProbes);
  const double shell = 1.2 * planned.level.grid.spacing_mm.maxCoeff();
  answer.surface = distances_at(planned, probes, day, fit, threads,
                                [&](std::size_t n) { return planned.depth_mm[n] > 0 && planned.depth_mm[n] <= shell; });
  answer.bone = distances_at(planned, probes, day, fit, threads,
                             [&](std::size_t n) { return on_border(planned.level.grid, planned.bone, n); });
}

void measure_inside(const PlannedObject& planned, const Level& day, const Fit& fit, const std::vector<Vec3>& targets,
                    int threads, Registration& answer) {
  constexpr double kPrior_mm = 10, kMostSd_mm = 0.5, kStep_mm = 24;
  const std::vector<Probe> probes = probes_of(planned.level, planned.object, planned.support, kAllProbes);
  const double shell_mm = std::max(4.0, 1.2 * planned.level.grid.spacing_mm.maxCoeff());   // the outermost border alone
  std::vector<Probe> outer, inner;
  for (const Probe& p : probes) {
    const double depth = planned.depth_mm[planned.level.grid.offset(planned.level.grid.voxel_at(p.lps_mm))];
    if (depth <= shell_mm) outer.push_back(p);
    if (depth >= kInside_mm && std::isfinite(depth)) inner.push_back(p);
  }
  outer.resize(std::min(outer.size(), kMostProbes));
  const Reader reader(day);
  const Fit outside = align(outer, reader, fit, 4, threads, kPrior_mm);
  answer.inner_shift_mm = 0;
  answer.inner_shift_where.clear();
  const auto take = [&](double mm, const std::string& where) {
    if (answer.inner_shift_where.empty() || mm > answer.inner_shift_mm)
      answer.inner_shift_mm = mm, answer.inner_shift_where = where;
  };
  if (inner.size() >= 200) {
    std::vector<Probe> some(inner.begin(), inner.begin() + static_cast<std::ptrdiff_t>(std::min(inner.size(), kMostProbes)));
    take(apart_mm(some, align(some, reader, outside, 4, threads, kPrior_mm).motion, outside.motion),
         "the inside as a whole");
  }
  std::vector<Vec3> middles = lattice_inside(planned, kStep_mm, kInside_mm);
  middles.insert(middles.end(), targets.begin(), targets.end());
  // Thick slices put borders off by a part of their thickness: that is no motion.
  const double blur_mm = 0.1 * std::max(day.grid.spacing_mm.maxCoeff(), planned.level.grid.spacing_mm.maxCoeff());
  for (const CellShift& cell : agreed(ball_shifts(middles, inner, reader, outside, kMostSd_mm, threads)))
    take(std::max(0.0, cell.shift.mm.norm() - 2 * std::hypot(cell.shift.sd_mm, blur_mm)), place("the inside", cell.middle));
}

double changed_fraction(const PlannedObject& planned, const Level& day, const Fit& fit) {
  constexpr int kWhole = 250;   // of 255: borders with air change by a part of a voxel's motion already
  constexpr double kChange_hu = 100;
  const Grid& g = planned.level.grid;
  const Reader before(planned.level), after(day);
  std::size_t seen = 0, changed = 0;
  for (int k = 0; k < g.size[2]; ++k)
    for (int j = 0; j < g.size[1]; ++j)
      for (int i = 0; i < g.size[0]; ++i) {
        const std::size_t n = g.offset(i, j, k);
        const bool hollow = planned.depth_mm[n] >= kInside_mm && std::isfinite(planned.depth_mm[n]);   // what was empty counts too
        if (planned.object[n] < kWhole && !hollow) continue;
        const Vec3 at = g.lps_from_index({double(i), double(j), double(k)});
        const HuRange was = range_about(before, {}, at), is = range_about(after, fit.motion, at);
        if (is.least > is.most) continue;
        ++seen;
        changed += fit.gain * was.least + fit.offset_hu > is.most + kChange_hu ||
                   fit.gain * was.most + fit.offset_hu < is.least - kChange_hu;
      }
  return seen == 0 ? 0 : static_cast<double>(changed) / static_cast<double>(seen);
}

std::vector<double> errors_at(const std::vector<Vec3>& targets, const PlannedObject& planned, const Level& day,
                              const Fit& fit, int threads) {
  constexpr double kNear_mm = 60, kMostSd_mm = 0.3;
  constexpr double kUnknown_mm = 10;   // nothing can be measured anywhere: as far as balls look
  constexpr double k95InThreeAxes = 2.795;   // square root of the 95 % point of chi-square with three degrees
  if (targets.empty()) return {};
  const Reader reader(day);
  const auto probes = probes_of(planned.level, planned.object, planned.support, kAllProbes);
  std::vector<Vec3> middles = lattice_inside(planned, 1.5 * kCell_mm, 0);
  middles.insert(middles.end(), targets.begin(), targets.end());
  auto shifts = ball_shifts(middles, probes, reader, fit, kMostSd_mm, threads);
  std::erase_if(shifts, [](const CellShift& s) { return s.shift.determined < 3; });
  const double floor_mm = 0.1 * day.grid.spacing_mm.maxCoeff();   // what reading between voxels leaves
  std::vector<double> errors;
  for (const Vec3& target : targets) {
    double sum = 0, weight = 0;
    for (const CellShift& s : shifts) {
      const double far = (s.middle - target).norm() / kNear_mm, w = std::exp(-0.5 * far * far) + 1e-6;
      sum += w * s.shift.mm.squaredNorm() / 3;
      weight += w;
    }
    if (shifts.empty()) sum = kUnknown_mm * kUnknown_mm, weight = 1;
    errors.push_back(k95InThreeAxes * std::sqrt(sum / weight + floor_mm * floor_mm / 3));
  }
  return errors;
}

}  // namespace leastharm::registration_detail
