#include "planner/transfer.h"

#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "planner/actual.h"
#include "planner/density.h"
#include "planner/text.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kBesideObject_mm =
    3;  // at least the admissible error of a transfer: a displaced rim is no support
constexpr double kSupport_hu = -700;

/// What the planning CT holds at a place of the day's CT.
struct PlannedAt {
  const OpenedCase& planning;
  RigidTransform planning_from_day;

  [[nodiscard]] std::optional<std::size_t> offset(const Vec3& day_lps_mm) const {
    const VoxelIndex v = planning.body.grid.voxel_at(planning_from_day.apply(day_lps_mm));
    if (!planning.body.grid.contains(v)) return std::nullopt;
    return planning.body.grid.offset(v);
  }
  /// The object's material there; air for the former support and outside the planning CT.
  [[nodiscard]] std::uint8_t material(const Vec3& day_lps_mm) const {
    const auto n = offset(day_lps_mm);
    const auto air = static_cast<std::uint8_t>(Material::air);
    if (!n) return air;
    const std::uint8_t m = planning.materials.values[*n];
    return m == static_cast<std::uint8_t>(Material::support) ? air : m;
  }
};

bool beside_object(const PlannedAt& planned, const Vec3& place) {
  for (int axis = 0; axis < 3; ++axis)
    for (const double sign : {-kBesideObject_mm, kBesideObject_mm})
      if (planned.material(place + sign * Vec3::Unit(axis)) !=
          static_cast<std::uint8_t>(Material::air))
        return true;
  return false;
}

/// Mean of a voxel and its six neighbours: a single one may be noise.
double smoothed_hu(const Volume<std::int16_t>& hu, int i, int j, int k) {
  const Grid& g = hu.grid;
  double sum = 0;
  int count = 0;
  for (const auto& [a, b, c] :
       {std::array{0, 0, 0}, {1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}) {
    const VoxelIndex v{i + a, j + b, k + c};
    if (!g.contains(v) || hu.at(v) == kNoReadingHu) continue;
    sum += hu.at(v), ++count;
  }
  return count == 0 ? -1000 : sum / count;
}

void carry_map(const PlannedAt& planned, OpenedCase& day) {
  const Grid& g = day.ct.hu.grid;
  day.materials = {g, std::vector<std::uint8_t>(g.voxel_count())};
  day.confidence = {g, std::vector<std::uint8_t>(g.voxel_count(), 255)};
  for_each_chunk(static_cast<std::size_t>(g.size[2]), 1, [&](std::size_t first, std::size_t last) {
    for (int k = static_cast<int>(first); k < static_cast<int>(last); ++k)
      for (int j = 0; j < g.size[1]; ++j)
        for (int i = 0; i < g.size[0]; ++i) {
          const Vec3 place = g.lps_from_index({double(i), double(j), double(k)});
          const std::size_t n = g.offset(i, j, k);
          std::uint8_t m = planned.material(place);
          if (m == static_cast<std::uint8_t>(Material::air) &&
              day.ct.hu.values[n] > kSupport_hu - 200 &&
              smoothed_hu(day.ct.hu, i, j, k) > kSupport_hu && !beside_object(planned, place))
            m = static_cast<std::uint8_t>(Material::support);
          day.materials.values[n] = m;
          if (const auto from = planned.offset(place))
            day.confidence.values[n] = planned.planning.confidence.values[*from];
        }
  });
}

/// The box of day voxels that a planning mask can fall on.
std::pair<VoxelIndex, VoxelIndex> day_box(const Mask& mask, const Grid& day,
                                          const RigidTransform& motion) {
  Vec3 low = Vec3::Constant(1e9), high = Vec3::Constant(-1e9);
  for (int n = 0; n < 8; ++n) {
    const Vec3 corner((n & 1) != 0 ? mask.corner.i + mask.box[0] - 0.5 : mask.corner.i - 0.5,
                      (n & 2) != 0 ? mask.corner.j + mask.box[1] - 0.5 : mask.corner.j - 0.5,
                      (n & 4) != 0 ? mask.corner.k + mask.box[2] - 0.5 : mask.corner.k - 0.5);
    const Vec3 index = day.index_from_lps(motion.apply(mask.grid.lps_from_index(corner)));
    low = low.cwiseMin(index), high = high.cwiseMax(index);
  }
  const auto cut = [](double value, int size) {
    return static_cast<int>(std::clamp(value, -1.0, static_cast<double>(size)));
  };
  return {{std::max(0, cut(std::floor(low.x()), day.size[0])),
           std::max(0, cut(std::floor(low.y()), day.size[1])),
           std::max(0, cut(std::floor(low.z()), day.size[2]))},
          {std::min(day.size[0] - 1, cut(std::ceil(high.x()), day.size[0])),
           std::min(day.size[1] - 1, cut(std::ceil(high.y()), day.size[1])),
           std::min(day.size[2] - 1, cut(std::ceil(high.z()), day.size[2]))}};
}

std::string over(const std::string& what, double found, double limit) {
  return what + " is " + fixed(found, 1) + " mm, over the limit of " + fixed(limit, 1) + " mm";
}

}  // namespace

Mask carried_mask(const Mask& mask, const Grid& day, const RigidTransform& motion) {
  const RigidTransform back = motion.inverse();
  const auto [low, high] = day_box(mask, day, motion);
  if (mask.empty() || low.i > high.i || low.j > high.j || low.k > high.k) return {.grid = day};
  Mask carried{.grid = day,
               .corner = low,
               .box = {high.i - low.i + 1, high.j - low.j + 1, high.k - low.k + 1}};
  bool any = false;
  for (int k = low.k; k <= high.k; ++k)
    for (int j = low.j; j <= high.j; ++j)
      for (int i = low.i; i <= high.i; ++i) {
        const Vec3 place = back.apply(day.lps_from_index({double(i), double(j), double(k)}));
        carried.inside.push_back(mask.contains(mask.grid.voxel_at(place)) ? 1 : 0);
        any |= carried.inside.back() != 0;
      }
  return any ? carried : Mask{.grid = day};
}

BodyFrame carried_frame(const BodyFrame& frame, const RigidTransform& motion) {
  BodyFrame moved = frame;
  moved.head = motion.rotation * frame.head;
  moved.front = motion.rotation * frame.front;
  for (Vec3& p : moved.midline_lps_mm) p = motion.apply(p);
  return moved;
}

Track carried(const Track& track, const RigidTransform& motion) {
  Track moved = track;
  moved.entry_lps_mm = motion.apply(track.entry_lps_mm);
  moved.tip_lps_mm = motion.apply(track.tip_lps_mm);
  return moved;
}

void check_transfer(const Registration& registration, const std::vector<Track>& day_tracks,
                    const Grid& day_grid, const TransferLimits& limits) {
  for (const Track& t : day_tracks)
    for (const auto& [end, name] : {std::pair{t.entry_lps_mm, "entry"}, {t.tip_lps_mm, "tip"}})
      if (!day_grid.contains(day_grid.voxel_at(end)))
        throw BadInput("the day's CT does not show the " + std::string(name) + " of track " + t.id +
                       ": scan again with a field that takes in the whole track");
  const std::string mend =
      ". Scan again with the object at rest, or give at least 4 fiducials (--fiducials)";
  if (registration.inner_shift_mm > limits.inner_mm)
    throw NoAnswer("registration: " +
                   over(registration.inner_shift_where + " moved against the outside: it",
                        registration.inner_shift_mm, limits.inner_mm) +
                   ". The plan no longer fits: plan anew on the day's CT: add  --replan DIR");
  const auto judge = [&](const std::string& what, double found) {
    if (found > limits.error_mm)
      throw NoAnswer("registration: " + over(what, found, limits.error_mm) + mend);
  };
  if (registration.surface.places > 0)
    judge("the mean distance of the outer surfaces", registration.surface.mean_mm);
  if (registration.bone.places > 0)
    judge("the mean distance of the bones", registration.bone.mean_mm);
  for (std::size_t n = 0; n < day_tracks.size() && n < registration.target_error_p95_mm.size(); ++n)
    judge("the expected 95 % error at the tip of " + day_tracks[n].id,
          registration.target_error_p95_mm[n]);
}

Registration register_day(const CaseFile& file, const OpenedCase& planning, const CtVolume& day,
                          const std::vector<FiducialPair>& fiducials, std::vector<Vec3> targets,
                          bool may_be_altered) {
  if (day.sha256 == file.ct.sha256) {
    Registration same{.method = "the same CT", .correlation = 1, .covered = 1};
    same.target_error_p95_mm.assign(targets.size(), 0);
    return same;
  }
  const RegistrationInput input{.planning_hu = planning.ct.hu,
                                .planning_materials = planning.materials,
                                .day_hu = day.hu,
                                .targets_lps_mm = std::move(targets),
                                .may_be_altered = may_be_altered};
  return fiducials.empty() ? register_ct(input) : register_fiducials(input, fiducials);
}

std::unique_ptr<OpenedCase> carried_body(const OpenedCase& planning, CtVolume day,
                                         const RigidTransform& day_from_planning) {
  auto opened = std::make_unique<OpenedCase>();
  opened->ct = std::move(day);
  carry_map({planning, day_from_planning.inverse()}, *opened);
  Body& body = opened->body;
  body.grid = opened->ct.hu.grid;
  body.hu = opened->ct.hu.values;
  body.materials = opened->materials.values;
  body.confidence = opened->confidence.values;
  body.scan = planning.body.scan;
  if (const auto kvp = opened->ct.facts.find("kVp"); kvp != opened->ct.facts.end())
    body.scan.effective_energy_kev = effective_energy_kev(std::stod(kvp->second));
  if (planning.body.frame) body.frame = carried_frame(*planning.body.frame, day_from_planning);
  for (const Mark& mark : planning.body.marks) {
    Mark moved = mark;
    moved.mask = carried_mask(mark.mask, body.grid, day_from_planning);
    if (!moved.mask.empty()) body.marks.push_back(std::move(moved));
  }
  return opened;
}

namespace {

/// By how much the chance of enough may be less in the day's CT than was asked for when planning: two scans of one object that
/// has not changed differ by up to 0.054 (measured with invented bodies: tests/cli/day_test.cpp).
constexpr double kBetweenScans = 0.06;

/// The request as the day has to meet it.
RequestFile on_the_day(RequestFile request) {
  request.limits.p_enough_min = std::max(0.0, request.limits.p_enough_min - kBetweenScans);
  return request;
}

/// Where the chance of enough is less than was asked for, the operator wants to know what it was when planned.
void say_what_was_planned(Assessment& day, const Body& planning, const RequestFile& request, const std::vector<Track>& tracks) {
  const double asked = request.limits.p_enough_min;
  const auto is_less = [&](const TrackAssessment& a) { return a.core.p_enough && *a.core.p_enough < asked; };
  if (std::ranges::none_of(day.tracks, is_less)) return;
  const Assessment planned = assess(planning, request, tracks);
  for (TrackAssessment& a : day.tracks) {
    if (!is_less(a)) continue;
    const auto was = std::ranges::find(planned.tracks, a.track.id, [](const TrackAssessment& p) { return p.track.id; });
    const std::string planned_and_allowed = "when planned the chance of enough was " + fixed(was->core.p_enough.value_or(0), 3) + "; of the " + brief(asked) +
                                            " asked for, " + brief(kBetweenScans) + " may be missing in another scan";
    if (*a.core.p_enough < asked - kBetweenScans) a.findings.push_back({Level::refused, planned_and_allowed});
    else a.findings.push_back({Level::note, "the chance of enough is " + fixed(*a.core.p_enough, 3) + " in this CT; " + planned_and_allowed});
  }
}

}  // namespace

Transfer make_transfer(const CaseFile& file, const OpenedCase& planning, CtVolume day,
                       CtReference ct, const Registration& registration,
                       const TransferLimits& limits) {
  Transfer t{.plan_sha256 = plan_sha256(file),
             .plan = plan_label(file),
             .day_ct = std::move(ct),
             .same_ct = day.sha256 == file.ct.sha256,
             .registration = registration,
             .contents = contents_on_the_day(planning.body, planning.ct.hu, day.hu, registration),
             .limits = limits};
  check_contents(t.contents);
  for (const Track& track : file.plan.tracks)
    t.tracks.push_back(carried(track, registration.day_from_planning));
  const auto moved =
      t.same_ct ? nullptr : carried_body(planning, std::move(day), registration.day_from_planning);
  const Body& body = moved ? moved->body : planning.body;
  const RequestFile asked = file.request.value_or(RequestFile{}), request = t.same_ct ? asked : on_the_day(asked);
  std::vector<Track> from_outside =
      t.tracks;  // a carried entry may lie a part of a voxel below the carried surface
  if (!t.same_ct)
    for (Track& track : from_outside) track = begun_before(track, kBesideObject_mm);
  Assessment assessment = assess(body, request, from_outside);
  if (!t.same_ct) say_what_was_planned(assessment, planning.body, asked, file.plan.tracks);
  t.assessment = to_json(assessment);
  t.card = make_day_card(body, assessment, registration.target_error_p95_mm, request.placement);
  return t;
}

}  // namespace leastharm
