#include "planner/assess.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "findings.h"
#include "imaging/error.h"
#include "planner/assessor.h"
#include "planner/counter_random.h"
#include "planner/crossing.h"
#include "planner/damage.h"
#include "planner/placement.h"
#include "planner/sides.h"
#include "planner/swept.h"
#include "planner/text.h"

namespace leastharm {

namespace {

constexpr double kForeignNoted = 0.1;
constexpr double kSlack = 1e-9;   // limits are kept up to rounding

void check_body(const Body& body) {
  const std::size_t voxels = body.grid.voxel_count();
  const bool fits = body.hu.size() == voxels && body.materials.size() == voxels &&
                    (body.confidence.empty() || body.confidence.size() == voxels);
  if (voxels == 0 || !fits) throw BadInput("CT, material map and confidence do not lie on one grid; segment again.");
}

void check_request(const Body& body, const Request& request) {
  if (request.sides != Sides::any && !sides_known(body))
    throw BadInput("Request " + request.id + " asks for sides, but nobody has confirmed the body frame and midline; run "
                   "`leastharm orient` first, or ask for sides \"any\".");
  if (request.cavity.empty()) return;
  const Mark* mark = body.find_mark(request.cavity);
  if (mark != nullptr && mark->kind == MarkKind::cavity) return;
  std::vector<std::string> cavities;
  for (const Mark& m : body.marks)
    if (m.kind == MarkKind::cavity) cavities.push_back(m.name);
  throw BadInput("Request " + request.id + " samples from the cavity \"" + request.cavity + "\", which is not marked" +
                 (mark != nullptr ? " as a cavity but as " + std::string(name_of(mark->kind)) : "") +
                 ". Cavities: " + (cavities.empty() ? "none; use `leastharm mark --as cavity`" : joined(cavities)) + ".");
}

void check_track(const Track& track) {
  const std::string where = "Track " + track.id;
  if (!track.entry_lps_mm.allFinite() || !track.tip_lps_mm.allFinite())
    throw BadInput(where + " has a coordinate that is no number.");
  if (path_length_mm(track) < 1e-6) throw BadInput(where + ": entry and tip coincide; give two different points.");
  check_needle(track.needle, where + ": needle");
}

/// "WHAT is VALUE, over the limit of LIMIT by EXCESS".
std::string over(const std::string& what, double value, double limit, const std::string& unit, int decimals = 1) {
  return what + " is " + fixed(value, decimals) + unit + ", over the limit of " + brief(limit) + unit + " by " +
         fixed(value - limit, decimals) + unit;
}

/// What the packing in a core reads, against what the request says that it is.
void note_filling(TrackAssessment& a, const CoreContent& content, const MassModel& model) {
  constexpr auto kLoose = static_cast<std::size_t>(Material::packing);
  const double dense_mm3 = content.requested_mm3[kDensePacking], all_mm3 = content.requested_mm3[kLoose] + dense_mm3;
  if (!(all_mm3 > 0)) return;
  if (model.filling() == Filling::not_stated) {
    if (dense_mm3 > kForeignNoted * all_mm3)
      note(a, fixed(100 * dense_mm3 / all_mm3, 0) + " % of the packing in the core reads above " + std::to_string(kLoosestMineralHu) +
                  " HU and may be sand, mud or natron, which weigh less than plant fibre of the same HU; nobody has stated what "
                  "it is (from.filling in the request), so the mass's interval covers all of them");
    return;
  }
  double mass_mg = 0;
  for (const std::size_t m : {kLoose, kDensePacking}) mass_mg += content.requested_water_mm3[m] / model.ratio()[m];
  const double density = mass_mg / all_mm3;
  const DensityRange range = density_range_of(model.filling());
  if (density < range.least || density > range.most)
    note(a, "weighed as " + std::string(name_of(model.filling())) + ", the packing in the core has " + fixed(density, 2) +
                " g/cm3; such a filling lies between " + brief(range.least) + " and " + brief(range.most) +
                " g/cm3: is from.filling stated rightly?");
}

}  // namespace

struct Assessor::Site {
  Track track;       ///< entry on the surface
  EntrySite entry;
  bool through_opening = false;
  std::string opening;
};

Assessor::Assessor(const Body& body, RequestFile file, std::uint64_t seed)
    : body_(&body), file_(std::move(file)), seed_(seed) {
  check_body(body);
  for (std::size_t f = 0; f < kFillingNames.size(); ++f) models_.emplace_back(body, static_cast<Filling>(f));
  for (const Request& request : file_.requests) check_request(body, request);
  for (const Mark& mark : body.marks)
    if (mark.kind == MarkKind::keep_out && !mark.mask.empty()) keep_outs_.emplace_back(mark.name, mark.mask);
  if (!sides_known(body)) middle_x_mm_ = object_middle_x_mm(body);
}

Region Assessor::region_of(const std::string& request_id) const {
  if (request_id.empty()) return {};
  const auto found = std::ranges::find(file_.requests, request_id, &Request::id);
  if (found == file_.requests.end()) {
    std::vector<std::string> ids;
    for (const Request& request : file_.requests) ids.push_back(request.id);
    throw BadInput("A track answers the request \"" + request_id + "\", which is not there. Requests: " +
                   (ids.empty() ? "none" : joined(ids)) + ".");
  }
  const Mark* cavity = found->cavity.empty() ? nullptr : body_->find_mark(found->cavity);
  return {&*found, cavity != nullptr ? &cavity->mask : nullptr};
}

const MassModel& Assessor::mass_model(const std::string& request_id) const {
  const Request* request = region_of(request_id).request;
  return models_[static_cast<std::size_t>(request != nullptr ? request->filling : Filling::not_stated)];
}

double Assessor::need_of_one_mg(const std::string& request_id) const {
  const Request* request = region_of(request_id).request;
  if (request == nullptr) return 0;
  return request->pooled ? request->need_mg() / request->replicates : request->need_mg();
}

Assessor::Site Assessor::enter(const Track& track) const {
  check_track(track);
  const auto entry = find_entry(*body_, track.entry_lps_mm, track.tip_lps_mm);
  if (!entry)
    throw BadInput("Track " + track.id + " misses the object: there is only air or support between entry and tip.");
  Site site{track, *entry};
  site.track.entry_lps_mm = entry->point_lps_mm;
  for (const Mark& mark : body_->marks) {
    if (mark.kind != MarkKind::opening || site.through_opening) continue;
    site.through_opening = enters_through(mark.mask, *body_, site.track, site.entry);
    site.opening = mark.name;
  }
  return site;
}

TrackAssessment Assessor::assess_exact(const Track& track) const { return exact(enter(track)); }

TrackAssessment Assessor::exact(const Site& site) const {
  const Region region = region_of(site.track.request);
  const Track& track = site.track;
  const Vec3 axis = axis_of(track);
  const Cylinder core = core_cylinder(track);
  TrackAssessment a;
  a.track = track;
  a.admissible = true;
  a.path_length_mm = path_length_mm(track);
  a.entry_angle_deg = site.entry.angle_deg;
  a.tilt_deg = 180 / std::numbers::pi * std::asin(std::min(1.0, std::abs(axis.dot(body_->grid.direction.col(2)))));
  a.crossings = crossings_along(*body_, track.entry_lps_mm, axis, 0, a.path_length_mm);
  a.through_opening = site.through_opening;
  for (const KeepOut& keep_out : keep_outs_)
    a.clearance_mm[keep_out.name()] = clearance_mm(keep_out, outer_cylinder(track));
  a.side = side_of_core(*body_, core, middle_x_mm_);
  add_damage(a, site);

  const CoreContent content = core_content(*body_, region, core, fine_node_count(core.radius_mm, body_->grid));
  a.core.volume_mm3 = core.volume_mm3();
  a.core.by_material_mm3 = content.by_material_mm3();
  a.core.requested_mm3 = content.requested_total_mm3();
  a.core.foreign_fraction = content.foreign_fraction();
  const MassModel& model = mass_model(track.request);
  a.core.mass_mg = a.core.mass_mg_p05 = a.core.mass_mg_p95 = model.nominal_requested_mg(content, track.needle);
  a.core.all_mass_mg = model.nominal_all_mg(content, track.needle);
  add_geometry_findings(a, site);
  add_core_findings(a, content.foreign_fraction());
  note_filling(a, content, model);
  return a;
}

void Assessor::add_damage(TrackAssessment& a, const Site& site) const {
  const Track& track = site.track;
  Cylinder swept = outer_cylinder(track);
  // The cylinder's rim may meet the object before the axis does; air in front of the entry is not swept.
  const double back = entry_reach_mm(swept.radius_mm, site.entry.angle_deg, body_->grid);
  swept.start -= back * swept.axis;
  swept.length_mm += back;
  a.swept_mm3 = volumes_in(*body_, swept, fine_node_count(swept.radius_mm, body_->grid), back);
  a.hole_area_mm2 = hole_area_mm2(track.needle.outer_mm, site.entry.angle_deg);

  Harm harm{a.swept_mm3, site.through_opening ? 0 : a.hole_area_mm2, {}, {}};
  const bool zones = std::ranges::any_of(body_->marks, [](const Mark& m) { return m.kind == MarkKind::zone; });
  if (zones && !site.through_opening) {
    const std::vector<HoleNode> nodes = hole_nodes(*body_, track, site.entry);
    for (const Mark& mark : body_->marks) {
      if (mark.kind != MarkKind::zone) continue;
      const auto inside = std::ranges::count_if(nodes, [&](const HoleNode& n) { return in_zone(mark.mask, n); });
      harm.zone_mm2.emplace_back(&mark, a.hole_area_mm2 * static_cast<double>(inside) / static_cast<double>(nodes.size()));
    }
  }
  for (const KeepOut& keep_out : keep_outs_)
    harm.near_mm3.emplace_back(keep_out.name(), expected_intrusion_mm3(keep_out, track, file_.placement));
  a.damage = damage_of(file_.weights, harm);
}

void Assessor::add_geometry_findings(TrackAssessment& a, const Site& site) const {
  const Limits& limits = file_.limits;
  const Needle& needle = a.track.needle;
  if (site.entry.given_inside) refuse(a, "the given entry lies inside the object; begin outside it");
  if (site.entry.behind_support) refuse(a, "the way to the entry leads through the support");
  const double support = a.swept_mm3[static_cast<std::size_t>(Material::support)];
  if (support > 0) refuse(a, "the needle meets the support (" + fixed(support, 2) + " mm3 of it)");
  const double length = a.path_length_mm + needle.dead_tip_mm;
  if (length > needle.usable_mm + kSlack) refuse(a, over("the length in the object", length, needle.usable_mm, " mm"));
  if (const auto met = shaft_meets_mm(*body_, a.track, site.entry))
    refuse(a, "behind the entry the way of the needle and the hand meets the object or its support, " + fixed(-*met) + " mm away");
  if (a.entry_angle_deg > limits.entry_angle_deg + kSlack)
    refuse(a, over("the entry angle", a.entry_angle_deg, limits.entry_angle_deg, " deg"));
  if (a.tilt_deg > limits.tilt_deg + kSlack) refuse(a, over("the tilt", a.tilt_deg, limits.tilt_deg, " deg"));
  for (const auto& [name, clearance] : a.clearance_mm)
    if (clearance < limits.clearance_mm - kSlack)
      refuse(a, "the clearance to " + name + " is " + fixed(clearance) + " mm, under the limit of " +
                    brief(limits.clearance_mm) + " mm by " + fixed(limits.clearance_mm - clearance) + " mm");
  const double bone = length_in(crossings_along(*body_, a.track.entry_lps_mm, axis_of(a.track), 0, length), Material::bone);
  if (bone > limits.bone_mm + 1e-6) refuse(a, over("the path in bone", bone, limits.bone_mm, " mm", 2));
  if (a.through_opening) note(a, "enters through the opening " + site.opening + ": no hole is counted");
}

void Assessor::add_core_findings(TrackAssessment& a, double foreign) const {
  const Region region = region_of(a.track.request);
  if (file_.limits.margin_mm > 0) {
    const double margin = core_margin_mm(*body_, region, core_cylinder(a.track), file_.limits.margin_mm);
    if (margin < file_.limits.margin_mm - kSlack)
      refuse(a, "the core's margin to the border of what is requested is " + fixed(margin) + " mm, under the limit of " +
                    brief(file_.limits.margin_mm) + " mm by " + fixed(file_.limits.margin_mm - margin) + " mm");
  }
  if (foreign > kForeignNoted)
    note(a, "foreign material makes up " + fixed(100 * foreign, 0) + " % of what the core holds (over 10 %)");
  if (a.path_length_mm < a.track.needle.throw_mm - kSlack)
    note(a, "the core begins " + fixed(a.track.needle.throw_mm - a.path_length_mm) + " mm outside the object");
  if (region.request == nullptr) return;
  const Sides sides = region.request->sides;
  if (sides == Sides::any) return;
  const bool fits = sides == Sides::both ? a.side != "midline" : a.side == (sides == Sides::left ? "left" : "right");
  if (!fits)
    refuse(a, "the core lies on the side \"" + a.side + "\", request " + region.request->id + " asks for " +
                  (sides == Sides::left ? "left" : sides == Sides::right ? "right" : "left or right") +
                  " (all of it at least 3 mm from the midline)");
}

MassDraws Assessor::add_chances(TrackAssessment& a, int draws) const {
  const Region region = region_of(a.track.request);
  MassDraws masses = draw_masses(mass_model(a.track.request), region, a.track, file_.placement, seed_, draws);
  a.core.mass_mg = quantile_of(masses.requested_mg, 0.5);
  a.core.mass_mg_p05 = quantile_of(masses.requested_mg, 0.05);
  a.core.mass_mg_p95 = quantile_of(masses.requested_mg, 0.95);
  a.core.all_mass_mg = quantile_of(masses.all_mg, 0.5);
  a.p_reach = reach_chance(*body_, region, a.track, file_.placement);
  for (const KeepOut& keep_out : keep_outs_) {
    const Chance chance = touch_chance(keep_out, a.track, file_.placement);
    a.p_touch[keep_out.name()] = chance.p;
    a.p_touch_se[keep_out.name()] = chance.standard_error;
    if (chance.p > file_.limits.p_touch_max)
      refuse(a, over("the chance to touch " + keep_out.name(), chance.p, file_.limits.p_touch_max, "", 4));
  }
  return masses;
}

TrackAssessment Assessor::with_chances(const Track& track, MassDraws& masses, int draws) const {
  TrackAssessment a = exact(enter(track));
  masses = add_chances(a, draws);
  return a;
}

TrackAssessment Assessor::assess_track(const Track& track, int draws) const {
  MassDraws masses;
  TrackAssessment a = with_chances(track, masses, draws);
  if (track.request.empty()) return a;
  const double need = need_of_one_mg(track.request);
  judge_enough(a, chance_of_at_least(masses.requested_mg, need), need, file_.limits.p_enough_min, "the core yields");
  return a;
}

Assessment assess(const Body& body, const RequestFile& request, const std::vector<Track>& tracks, std::uint64_t seed) {
  return Assessor(body, request, seed).assess(tracks);
}

}  // namespace leastharm
