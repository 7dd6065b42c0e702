// transfer: the plan in the CT of the day, or planned anew there.
#include <algorithm>
#include <chrono>

#include "commands.h"
#include "imaging/error.h"
#include "planner/json_file.h"
#include "planner/replan.h"
#include "planner/transfer.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

using nlohmann::json;

struct TransferOptions {
  std::string case_path, ct, series, fiducials, replan;
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
        << "\n";
    if (!c.admissible) out << "    ask first: " << c.ask_first << "\n";
  }
  if (!std::ranges::all_of(t.card.tracks, &CardTrack::admissible))
    out << "Ask first: a limit of the plan does not hold in this CT. Those who approved the plan say yes or no to such a core; "
           "or plan anew on this CT:  leastharm transfer --case " << case_path << " --ct PATH --replan DIR\n";
  out << "transfer " << t.number << " of plan " << t.plan
      << " kept; the plan is unchanged. Print the card:  leastharm print --case " << case_path
      << " --day-card\n";
}

std::vector<FiducialPair> fiducials_from(const TransferOptions& o, const CaseFile& file,
                                         const CtVolume& day) {
  if (o.fiducials.empty()) return {};
  return parse_json_file(o.fiducials, [&](const nlohmann::json& j) {
    return parse_fiducials(j, file.ct.frame_of_reference_uid, day.frame_of_reference_uid);
  });
}

std::vector<Vec3> tips_of(const CaseFile& file) {
  std::vector<Vec3> tips;
  for (const Track& t : file.plan.tracks) tips.push_back(t.tip_lps_mm);
  return tips;
}

/// A new case on the day's CT, searched with what is left of the minute in which a person waits at the table.
void replan(const TransferOptions& o, const Console& console) {
  constexpr double kMinute_s = 60, kBeside_s = 32, kLeast_s = 5;   // polish, alternatives and prices come after the search
  const auto begun_at = std::chrono::steady_clock::now();
  const auto seconds = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun_at).count(); };
  CaseFolder planned = CaseFolder::open(o.case_path);
  if (!planned.file.request) throw BadInput("nothing was asked of this case yet: there is nothing to plan anew");
  CtVolume day = read_ct(o.ct, {.series_uid = o.series});
  const auto planning = open_volumes(planned);
  const Registration found =
      register_day(planned.file, *planning, day, fiducials_from(o, planned.file, day), tips_of(planned.file), true);
  NewCase anew = begin_on_the_day(planned, *planning, std::move(day), o.ct, found, {o.limit_mm, o.inner_limit_mm}, o.replan, time_now());
  anew.folder.save();
  append_record(planned.file.records, "replanned",
                {{"case", fs::relative(fs::canonical(o.replan), fs::canonical(o.case_path)).string()},
                 {"day_ct_sha256", anew.folder.file.ct.sha256}}, time_now());
  planned.save();

  RequestFile request = *anew.folder.file.request;
  request.time_s = std::clamp(kMinute_s - kBeside_s - seconds(), kLeast_s, request.time_s);
  const Proposal proposal = propose(open_volumes(anew.folder)->body, request, 1, terminal_progress(console));
  if (proposal.feasible) {
    take_proposal(anew.folder.file, *anew.folder.file.request, proposal);
    anew.folder.save();
  }
  if (o.as_json) {
    json answer{{"case", o.replan}, {"registration", to_json(found, planned.file.plan.tracks)}, {"marks", to_json(anew.marks)},
                {"findings", to_json(anew.findings)}, {"proposal", to_json(proposal)}, {"seconds", seconds()}};
    answer["proposal"]["settings"] = to_json(request);
    console.out << answer.dump(1) << "\n";
  } else {
    print_registration(console.out, found);
    for (const CarriedMark& m : anew.marks) console.out << "  mark \"" << m.name << "\": " << (m.kept ? "" : "LEFT OUT, ") << m.how << "\n";
    print_findings(console.out, anew.findings);
    if (proposal.feasible) print_assessment(console.out, proposal.assessment, proposal.certificate);
    console.out << "new case " << o.replan << " after " << fixed(seconds(), 0)
                << " s: a new plan, to be looked at, printed and approved like any other\n";
  }
  if (!proposal.feasible)
    throw NoAnswer(why_not(proposal) + ". The case " + o.replan + " is kept with its marks: ask for less, then  leastharm propose");
}

void transfer(const TransferOptions& o, const Console& console) {
  check_limit(o.limit_mm, "--limit");
  check_limit(o.inner_limit_mm, "--inner-limit");
  if (!o.replan.empty()) return replan(o, console);
  CaseFolder folder = CaseFolder::open(o.case_path);
  const CaseFile& file = folder.file;
  if (file.plan.tracks.empty())
    throw BadInput("the case has no tracks to transfer yet: find some with  leastharm propose");
  CtVolume day = read_ct(o.ct, {.series_uid = o.series});
  const auto fiducials = fiducials_from(o, file, day);
  const auto planning = open_volumes(folder);
  const Registration found = register_day(file, *planning, day, fiducials, tips_of(file));
  std::vector<Track> moved;
  for (const Track& t : file.plan.tracks) moved.push_back(carried(t, found.day_from_planning));
  const TransferLimits limits{o.limit_mm, o.inner_limit_mm};
  try {
    check_transfer(found, moved, day.hu.grid, limits);
    check_contents(contents_on_the_day(planning->body, planning->ct.hu, day.hu, found));
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

}  // namespace

void add_transfer_command(CLI::App& program, const Console& console) {
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
  command->add_option("--replan", o->replan,
                      "Plan anew on the day's CT in this new case folder: marks, frame and request are carried over");
  command->add_flag("--json", o->as_json, "Answer as JSON");
  command->callback([=] { transfer(*o, console); });
}

}  // namespace leastharm
