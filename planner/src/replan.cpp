#include "planner/replan.h"

#include <algorithm>

#include "imaging/error.h"
#include "imaging/volume_file.h"
#include "planner/text.h"
#include "workers.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

Vec3 to_vec(const json& j) { return {j.at(0).get<double>(), j.at(1).get<double>(), j.at(2).get<double>()}; }
json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

/// What is over its limit, in words; empty where the planning CT still describes the object.
std::string over_the_limit(const Registration& registration, const std::vector<Contents>& contents,
                           const TransferLimits& limits) {
  try {
    check_transfer(registration, {}, {}, limits);
    for (const double error_mm : registration.target_error_p95_mm)
      if (error_mm > limits.error_mm)
        return "the expected error at a tip is " + fixed(error_mm, 1) + " mm, over the limit of " + fixed(limits.error_mm, 1) + " mm";
    check_contents(contents);
  } catch (const NoAnswer& over) {
    return over.what();
  }
  return "";
}

/// Corrections that people made, on the day's grid. The former support is left to the new map.
Volume<std::uint8_t> carried_corrections(const Volume<std::uint8_t>& corrections, const Grid& day, const RigidTransform& motion) {
  const RigidTransform back = motion.inverse();
  Volume<std::uint8_t> carried{day, std::vector<std::uint8_t>(day.voxel_count(), kNotCorrected)};
  for_each_chunk(static_cast<std::size_t>(day.size[2]), 1, [&](std::size_t first, std::size_t last) {
    for (int k = static_cast<int>(first); k < static_cast<int>(last); ++k)
      for (int j = 0; j < day.size[1]; ++j)
        for (int i = 0; i < day.size[0]; ++i) {
          const VoxelIndex v = corrections.grid.voxel_at(back.apply(day.lps_from_index({double(i), double(j), double(k)})));
          if (!corrections.grid.contains(v)) continue;
          const std::uint8_t m = corrections.values[corrections.grid.offset(v)];
          if (m != static_cast<std::uint8_t>(Material::support)) carried.values[day.offset(i, j, k)] = m;
        }
  });
  return carried;
}

void lay_over(const Volume<std::uint8_t>& corrections, Segmentation& map) {
  for (std::size_t n = 0; n < corrections.values.size(); ++n) {
    const bool to_air_on_support = corrections.values[n] == static_cast<std::uint8_t>(Material::air) &&
                                   map.materials.values[n] == static_cast<std::uint8_t>(Material::support);
    if (corrections.values[n] == kNotCorrected || to_air_on_support) continue;
    map.materials.values[n] = corrections.values[n];
    map.confidence.values[n] = 255;
  }
}

/// The voxels of a mark on the day; empty where the day's CT does not show it.
struct Drawn {
  Mask mask;
  std::string how = "carried";
  json made_by;
};

Drawn draw_on_the_day(const Mark& mark, const json& made_by, const Volume<std::uint8_t>& materials, const RigidTransform& motion) {
  Drawn drawn{.mask = {}, .made_by = made_by};
  try {
    if (made_by.contains("material")) {
      drawn.how = "found anew in the day's map";
      drawn.mask = material_mask(materials, *material_named(made_by["material"].get<std::string>()));
    } else if (made_by.contains("connected_lps_mm")) {
      const Vec3 seed = motion.apply(to_vec(made_by["connected_lps_mm"]));
      drawn.how = "found anew in the day's map";
      drawn.made_by = {{"connected_lps_mm", from_vec(seed)}};
      drawn.mask = connected_mask(materials, seed);
    } else if (made_by.contains("ball_lps_mm")) {
      const json& ball = made_by["ball_lps_mm"];
      const Vec3 centre = motion.apply(to_vec(ball));
      drawn.made_by = {{"ball_lps_mm", {centre.x(), centre.y(), centre.z(), ball.at(3)}}};
      drawn.mask = ball_mask(materials.grid, centre, ball.at(3));
    } else {
      drawn.made_by = {{"carried", true}};
      drawn.mask = carried_mask(mark.mask, materials.grid, motion);
    }
  } catch (const BadInput& fault) {
    drawn.mask = {};
    drawn.how = fault.what();
  }
  return drawn;
}

void carry_marks(const CaseFolder& planned, const Volume<std::uint8_t>& materials, const RigidTransform& motion, NewCase& begun) {
  for (const MarkRecord& record : planned.file.marks) {
    if (record.made_by.contains("automatic")) continue;
    const Mark mark{record.name, record.kind, record.weight_mm, false, planned.read_mark(record)};
    const Drawn drawn = draw_on_the_day(mark, record.made_by, materials, motion);
    if (drawn.mask.empty()) {
      begun.marks.push_back({record.name, drawn.how == "carried" ? "the day's CT does not show it" : drawn.how, false});
      begun.findings.push_back({Level::refused, "the mark \"" + record.name + "\" was left out: " + begun.marks.back().how});
      continue;
    }
    begun.folder.put_mark({.name = record.name, .kind = record.kind, .weight_mm = record.weight_mm, .made_by = drawn.made_by}, drawn.mask);
    begun.marks.push_back({record.name, drawn.how, true});
  }
  for (const Waiver& waiver : planned.file.waivers)
    begun.findings.push_back({Level::note, "the waiver of " + waiver.mark + " was not carried: every dense object of the day's map is protected; "
                                           "waive it again where it is meant (" + waiver.why + ")"});
}

CtReference reference_to(const CtVolume& day, const fs::path& day_path, const fs::path& root, const Segmentation& map) {
  return {.path = fs::relative(fs::canonical(day_path), fs::canonical(root)).string(),
          .series_uid = day.series_uid,
          .frame_of_reference_uid = day.frame_of_reference_uid,
          .sha256 = day.sha256,
          .facts = day.facts,
          .grid = day.hu.grid,
          .air_check_hu = day.air_hu,
          .noise_hu = map.noise_hu,
          .findings = day.findings};
}

void carry_frame(const CaseFile& planned, const Registration& registration, CaseFile& file) {
  if (!planned.frame) return;
  file.frame = carried_frame(*planned.frame, registration.day_from_planning);
  file.frame_by = planned.frame_by + ", carried from plan " + plan_label(planned) + " by " + registration.method;
  file.frame_at = planned.frame_at;
}

}  // namespace

NewCase begin_on_the_day(const CaseFolder& planned, const OpenedCase& planning, CtVolume day, const fs::path& day_path,
                         const Registration& registration, const TransferLimits& limits, const fs::path& root,
                         const std::string& at) {
  const RigidTransform& motion = registration.day_from_planning;
  NewCase begun{.folder = CaseFolder::open_or_create(root), .marks = {}, .findings = {}};
  if (!begun.folder.is_new())
    throw BadInput(root.string() + " holds a case already: name a new folder for the plan of the day");
  const std::string over = over_the_limit(registration, contents_on_the_day(planning.body, planning.ct.hu, day.hu, registration), limits);
  if (!over.empty())
    begun.findings.push_back({Level::note, over + ". Marks were carried all the same: look at each of them on the day's CT"});

  Segmentation map = segment(day.hu);
  const fs::path corrections = planned.root() / "corrections.nrrd";
  if (fs::exists(corrections)) {
    if (over.empty()) {
      const auto carried = carried_corrections(read_labels(corrections), day.hu.grid, motion);
      lay_over(carried, map);
      write_labels(carried, begun.folder.root() / "corrections.nrrd");
    } else {
      begun.findings.push_back({Level::note, "corrections of the map were not carried: they may no longer hold. Correct the new map where needed"});
    }
  }
  const Segmentation described = describe_materials(day.hu, map.materials);
  CaseFile& file = begun.folder.file;
  file.object_id = planned.file.object_id;
  file.ct = reference_to(day, day_path, root, map);
  file.volume_mm3 = described.volume_mm3;
  file.map_findings = map.findings;
  file.proposed_frame = map.proposed_frame;
  carry_frame(planned.file, registration, file);
  file.request = planned.file.request;
  begun.folder.write_map(map.materials, map.confidence);
  carry_marks(planned, map.materials, motion, begun);
  begun.folder.protect_dense(map.materials);
  append_record(file.records, "begun",
                {{"from_plan", plan_label(planned.file)},
                 {"from_plan_sha256", plan_sha256(planned.file)},
                 {"from_ct_sha256", planned.file.ct.sha256},
                 {"registration", to_json(registration, planned.file.plan.tracks)}},
                at);
  return begun;
}

json to_json(const std::vector<CarriedMark>& marks) {
  json list = json::array();
  for (const CarriedMark& m : marks) list.push_back({{"name", m.name}, {"kept", m.kept}, {"how", m.how}});
  return list;
}

}  // namespace leastharm
