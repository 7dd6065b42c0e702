// record: what was really taken, held against the plan.
#include <algorithm>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/needle_trace.h"
#include "planner/actual.h"
#include "planner/json_file.h"
#include "planner/transfer.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

struct RecordOptions {
  std::string case_path, track, taken, ct, series, why;
  int corrects = 0;
  bool as_json = false;
};

/// The CT that positions were read in, and the way from it to the planning CT.
struct Ground {
  std::string name, frame_of_reference_uid;
  Grid grid;
  RigidTransform planning_from_ct;
};

Ground ground_of(const CaseFile& file, const std::optional<Transfer>& transfer) {
  if (!transfer) return {"planning CT", file.ct.frame_of_reference_uid, file.ct.grid, {}};
  return {"day's CT of transfer " + std::to_string(transfer->number),
          transfer->day_ct.frame_of_reference_uid, transfer->day_ct.grid,
          transfer->registration.day_from_planning.inverse()};
}

/// Where the needle lay, in the CT it was seen in.
struct Position {
  Vec3 entry_lps_mm{0, 0, 0}, tip_lps_mm{0, 0, 0};
  Ground ground;
  std::string seen;  ///< "needle" or "channel"; empty where a person said it
  double off_axis_mm = 0;
};

const Track& planned_track(const CaseFile& file, const std::string& id) {
  const auto found = std::ranges::find(file.plan.tracks, id, &Track::id);
  if (found != file.plan.tracks.end()) return *found;
  std::vector<std::string> ids;
  for (const Track& t : file.plan.tracks) ids.push_back(t.id);
  throw BadInput("the plan has no track \"" + id +
                 "\"; it has: " + (ids.empty() ? "none" : joined(ids)));
}

void check_inside(const Position& p) {
  for (const auto& [at, name] : {std::pair{p.entry_lps_mm, "entry"}, {p.tip_lps_mm, "tip"}})
    if (!p.ground.grid.contains(p.ground.grid.voxel_at(at)))
      throw BadInput(std::string("the ") + name + " at " + fixed(at.x(), 1) + ", " +
                     fixed(at.y(), 1) + ", " + fixed(at.z(), 1) + " mm lies outside the " +
                     p.ground.name + ": give it in that CT's LPS coordinates, mm");
}

std::optional<Position> stated_position(const Taken& taken, const Ground& ground) {
  if (!taken.tip_lps_mm) return std::nullopt;
  if (!taken.frame_of_reference_uid.empty() &&
      taken.frame_of_reference_uid != ground.frame_of_reference_uid)
    throw BadInput("frame_of_reference_uid is not that of the " + ground.name +
                   ": give positions in that CT");
  Position position{*taken.entry_lps_mm, *taken.tip_lps_mm, ground, "", 0};
  check_inside(position);
  return position;
}

Position seen_position(const RecordOptions& o, const CaseFile& file, const OpenedCase& planning,
                       const Track& planned) {
  const CtVolume ct = read_ct(o.ct, {.series_uid = o.series});
  const RigidTransform motion =
      register_day(file, planning, ct, {}, {planned.tip_lps_mm}).day_from_planning;
  const Track expected = carried(planned, motion);
  const NeedleTrace trace = find_needle(ct.hu, planning.ct.hu, motion.inverse(),
                                        expected.entry_lps_mm, expected.tip_lps_mm);
  return {trace.outer_lps_mm,
          trace.tip_lps_mm,
          {"CT at " + o.ct, ct.frame_of_reference_uid, ct.hu.grid, motion.inverse()},
          trace.seen,
          trace.off_axis_mm};
}

json from_vec(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

/// Planned against taken, what was crossed and its score; nulls where no position is known.
json held_against(const CaseFile& file, const OpenedCase* planning, const Track& planned,
                  const Taken& taken, const std::optional<Position>& position) {
  if (!position)
    return {{"held_against_plan", nullptr},
            {"crossed", nullptr},
            {"damage", nullptr},
            {"position", nullptr}};
  Track actual = planned;
  actual.entry_lps_mm = position->ground.planning_from_ct.apply(position->entry_lps_mm);
  actual.tip_lps_mm = position->ground.planning_from_ct.apply(position->tip_lps_mm);
  if (taken.needle) actual.needle = *taken.needle;
  const TrackAssessment a = assess_actual(*planning, request_of(file), actual);
  const json all = to_json(a);
  return {{"held_against_plan", to_json(off_plan(planned, a.track))},
          {"crossed", all.at("crossings")},
          {"damage", all.at("damage")},
          {"position",
           {{"in", position->ground.name},
            {"entry_lps_mm", from_vec(position->entry_lps_mm)},
            {"tip_lps_mm", from_vec(position->tip_lps_mm)},
            {"seen", position->seen},
            {"off_axis_mm", position->off_axis_mm}}},
          {"planning_entry_lps_mm", from_vec(a.track.entry_lps_mm)},
          {"planning_tip_lps_mm", from_vec(a.track.tip_lps_mm)}};
}

void print_record(std::ostream& out, const Record& record) {
  const json& what = record.what;
  out << "record " << record.number << ": track " << what["track"].get<std::string>();
  if (what.contains("taken")) {
    const json& taken = what["taken"];
    if (taken["outcome"] == "aborted")
      out << " aborted (" << taken["reason"].get<std::string>() << ")";
    else
      out << ", sample " << taken["sample"].get<std::string>() << ", net "
          << fixed(taken["net_mg"], 2) << " mg";
  }
  out << "\n";
  const json& off = what["held_against_plan"];
  if (off.is_null()) return;
  out << "  tip " << fixed(off["tip_mm"], 1) << " mm off the plan ("
      << fixed(off["tip_across_mm"], 1) << " across, " << fixed(off["tip_along_mm"], 1)
      << " deeper), entry " << fixed(off["entry_mm"], 1) << " mm, axis "
      << fixed(off["angle_deg"], 1) << " deg\n  crossed:";
  for (const json& c : what["crossed"])
    out << " " << c["material"].get<std::string>() << " "
        << fixed(c["to_mm"].get<double>() - c["from_mm"].get<double>(), 1) << " mm;";
  out << " damage score " << fixed(what["damage"]["score"], 1) << "\n";
}

void record(const RecordOptions& o, const Console& console) {
  if (o.taken.empty() && o.ct.empty())
    throw BadInput(
        "record needs --taken FILE (what was written down), --ct PATH (needle or channel visible), "
        "or both");
  if (o.corrects != 0 && (o.why.empty() || o.taken.empty()))
    throw BadInput("a correction needs --taken FILE and the reason: --why TEXT");
  CaseFolder folder = CaseFolder::open(o.case_path);
  const CaseFile& file = folder.file;
  const Track& planned = planned_track(file, o.track);
  const Taken taken = o.taken.empty() ? Taken{} : parse_json_file(o.taken, parse_taken);
  const auto standing = standing_transfer(folder);
  std::optional<Position> position = stated_position(taken, ground_of(file, standing));
  const auto planning = position || !o.ct.empty() ? open_volumes(folder) : nullptr;
  if (!o.ct.empty() && !position) position = seen_position(o, file, *planning, planned);

  json what = held_against(file, planning.get(), planned, taken, position);
  what.update(
      {{"track", planned.id}, {"plan", plan_label(file)}, {"plan_sha256", plan_sha256(file)}});
  if (o.corrects != 0) what.update({{"corrects", o.corrects}, {"why", o.why}});
  std::vector<Record>& records = folder.file.records;
  if (!o.taken.empty()) {
    what["taken"] = to_json(taken);
    record_core(records, std::move(what), time_now());
  } else {
    append_record(records, "needle", std::move(what), time_now());
  }
  folder.save();
  if (o.as_json)
    console.out << to_json(records.back()).dump(1) << "\n";
  else
    print_record(console.out, records.back());
}

}  // namespace

void add_record_command(CLI::App& program, const Console& console) {
  auto* command = program.add_subcommand(
      "record",
      "Write down what was taken, or why a core was aborted; nothing is ever overwritten");
  auto o = std::make_shared<RecordOptions>();
  command->add_option("--case", o->case_path, "Case folder")->required();
  command->add_option("--track", o->track, "Track of the plan")->required();
  command->add_option("--taken", o->taken,
                      "JSON: masses, container, custodian, time, persons; or why it was aborted "
                      "(planner/schema/taken.json)");
  command->add_option(
      "--ct", o->ct, "CT with the needle in place, or with the channel it left: its axis is found");
  command->add_option("--series", o->series, "Series UID, where that path holds several volumes");
  command->add_option("--corrects", o->corrects, "Number of the record that this one puts right");
  command->add_option("--why", o->why, "Corrections: the reason");
  command->add_flag("--json", o->as_json, "Answer as JSON");
  command->callback([=] { record(*o, console); });
}

}  // namespace leastharm
