// transfer and record: the plan in the CT of the day, and what was really taken.
#include <algorithm>

#include "commands.h"
#include "imaging/error.h"
#include "imaging/needle_trace.h"
#include "planner/actual.h"
#include "planner/transfer.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

struct TransferOptions {
  std::string case_path, ct, series, fiducials;
  double limit_mm = TransferLimits{}.error_mm, inner_limit_mm = TransferLimits{}.inner_mm;
  bool as_json = false;
};

CtReference reference_to(const CtVolume& ct, const std::string& path, const fs::path& root) {
  return {.path = fs::relative(fs::canonical(path), fs::canonical(root)).string(),
          .series_uid = ct.series_uid,
          .frame_of_reference_uid = ct.frame_of_reference_uid,
          .sha256 = ct.sha256,
          .facts = ct.facts,
          .grid = ct.hu.grid,
          .findings = ct.findings};
}

void check_limit(double mm, const char* option) {
  if (!(mm > 0) || mm > 20)
    throw BadInput(std::string(option) + " must be above 0 and up to 20 mm");
}

void print_registration(std::ostream& out, const Registration& r) {
  out << "registered by " << r.method << "\n";
  if (r.surface.places > 0)
    out << "  outer surface lies off by " << fixed(r.surface.mean_mm, 2) << " mm on average\n";
  if (r.bone.places > 0)
    out << "  bone lies off by " << fixed(r.bone.mean_mm, 2) << " mm on average\n";
  if (r.fiducial_residual_mm > 0)
    out << "  fiducials fit within " << fixed(r.fiducial_residual_mm, 2)
        << " mm (root mean square)\n";
  if (!r.inner_shift_where.empty())
    out << "  the inside moved by at most " << fixed(r.inner_shift_mm, 2)
        << " mm against the outside\n";
}

void print_transfer(std::ostream& out, const Transfer& t, const std::string& case_path) {
  print_registration(out, t.registration);
  out << "No. track   depth, mm  in plane, deg  out of plane, deg  95 % error at the tip, mm\n";
  for (const CardTrack& c : t.card.tracks) {
    out << c.order << "   " << c.id << std::string(c.id.size() < 8 ? 8 - c.id.size() : 1, ' ')
        << fixed(c.depth_mm, 1) << "       " << fixed(c.in_plane_deg, 1) << "          "
        << fixed(c.out_of_plane_deg, 1) << "               " << fixed(c.error_p95_mm, 1)
        << (c.admissible ? "" : "   not admissible in this CT") << "\n";
    if (!c.admissible) print_findings(out, c.findings);
  }
  out << "transfer " << t.number << " of plan " << t.plan
      << " kept; the plan is unchanged. Print the card:  leastharm print --case " << case_path
      << " --day-card\n";
}

std::vector<FiducialPair> fiducials_from(const TransferOptions& o, const CaseFile& file,
                                         const CtVolume& day) {
  if (o.fiducials.empty()) return {};
  return parse_fiducials(json_from_file(o.fiducials), file.ct.frame_of_reference_uid,
                         day.frame_of_reference_uid);
}

void transfer(const TransferOptions& o, const Console& console) {
  check_limit(o.limit_mm, "--limit");
  check_limit(o.inner_limit_mm, "--inner-limit");
  CaseFolder folder = CaseFolder::open(o.case_path);
  const CaseFile& file = folder.file;
  if (file.plan.tracks.empty())
    throw BadInput("the case has no tracks to transfer yet: find some with  leastharm propose");
  CtVolume day = read_ct(o.ct, {.series_uid = o.series});
  const auto fiducials = fiducials_from(o, file, day);
  const auto planning = open_volumes(folder);
  std::vector<Vec3> tips;
  for (const Track& t : file.plan.tracks) tips.push_back(t.tip_lps_mm);
  const Registration found = register_day(file, *planning, day, fiducials, tips);
  std::vector<Track> moved;
  for (const Track& t : file.plan.tracks) moved.push_back(carried(t, found.day_from_planning));
  const TransferLimits limits{o.limit_mm, o.inner_limit_mm};
  try {
    check_transfer(found, moved, day.hu.grid, limits);
  } catch (const NoAnswer& over) {
    if (o.as_json)
      console.out << json{{"refused", over.what()}, {"registration", to_json(found, moved)}}.dump(1)
                  << "\n";
    throw;
  }
  const CtReference reference = reference_to(day, o.ct, folder.root());
  Transfer t = make_transfer(file, *planning, std::move(day), reference, found, limits);
  t.at = time_now();
  keep_transfer(folder, t);
  folder.save();
  if (o.as_json)
    console.out << to_json(t).dump(1) << "\n";
  else
    print_transfer(console.out, t, o.case_path);
}

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
  const Taken taken = o.taken.empty() ? Taken{} : parse_taken(json_from_file(o.taken));
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

void add_transfer(CLI::App& program, const Console& console) {
  auto* command = program.add_subcommand(
      "transfer", "Carry the plan into the day's CT; the plan itself stays as it was");
  auto o = std::make_shared<TransferOptions>();
  command->add_option("--case", o->case_path, "Case folder")->required();
  command->add_option("--ct", o->ct, "The day's CT: folder or file")->required();
  command->add_option("--series", o->series, "Series UID, where the path holds several volumes");
  command->add_option(
      "--fiducials", o->fiducials,
      "JSON: at least four markers seen in both CTs (name, planning_lps_mm, day_lps_mm)");
  command->add_option(
      "--limit", o->limit_mm,
      "Largest admissible error at a tip and distance of surface or bone, mm (default 3)");
  command->add_option(
      "--inner-limit", o->inner_limit_mm,
      "Largest admissible motion of the inside against the outside, mm (default 2)");
  command->add_flag("--json", o->as_json, "Answer as JSON");
  command->callback([=] { transfer(*o, console); });
}

}  // namespace

void add_day_commands(CLI::App& program, const Console& console) {
  add_transfer(program, console);
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
