// needles, enough, propose, adopt and assess: from what is asked to tracks with their figures.
#include <unistd.h>

#include <algorithm>
#include <set>

#include "commands.h"
#include "imaging/error.h"
#include "planner/enough.h"
#include "planner/json_file.h"
#include "planner/propose.h"

namespace leastharm {
namespace {

using nlohmann::json;

void list_needles(bool as_json, const Console& console) {
  if (as_json) {
    json list = json::array();
    for (const Needle& n : needle_catalogue()) list.push_back(to_json(n));
    console.out << json{{"needles", list}}.dump(1) << "\n";
    return;
  }
  for (const Needle& n : needle_catalogue())
    console.out << n.name << ": outer " << fixed(n.outer_mm, 2) << " mm, bore " << fixed(n.bore_mm, 2) << " mm, throw "
                << fixed(n.throw_mm, 0) << " mm, usable " << fixed(n.usable_mm, 0) << " mm  (" << n.source << ")\n";
}

struct EnoughOptions {
  double bore_mm = 0, throw_mm = 0, need_mg = 0, grain_mm = 0;
  std::string density, recovery, filling = std::string(name_of(Filling::not_stated));
  bool as_json = false;
};

Filling filling_from(const std::string& text) {
  const auto known = std::ranges::find(kFillingNames, text);
  if (known == kFillingNames.end()) throw BadInput("--filling \"" + text + "\": use plant fibre, sand, mud or natron");
  return static_cast<Filling>(known - kFillingNames.begin());
}

std::pair<double, double> range_from(const std::string& text, std::string_view option, double highest) {
  const auto n = numbers_from(text, 2, option);
  if (!(n[0] > 0) || n[1] < n[0] || n[1] > highest)
    throw BadInput(std::string(option) + " \"" + text + "\" must be LO,HI with 0 < LO <= HI <= " + fixed(highest, 0));
  return {n[0], n[1]};
}

void check_length(double value_mm, std::string_view option, double most_mm) {
  if (!(value_mm > 0) || value_mm > most_mm)
    throw BadInput(std::string(option) + " is " + brief(value_mm) + "; allowed: above 0 and up to " + brief(most_mm) + " mm");
}

void say_enough(const EnoughOptions& o, const Console& console) {
  check_length(o.bore_mm, "--bore", 19);
  check_length(o.throw_mm, "--throw", 1000);
  Needle needle{.name = "", .outer_mm = o.bore_mm + 0.6, .bore_mm = o.bore_mm, .throw_mm = o.throw_mm,
                .usable_mm = std::max(100.0, o.throw_mm), .source = "as given"};
  if (!o.recovery.empty()) std::tie(needle.recovery_p05, needle.recovery_p95) = range_from(o.recovery, "--recovery", 1);
  check_needle(needle, "enough");
  if (!(o.need_mg > 0) || !(o.grain_mm >= 0)) throw BadInput("--need must be above 0 mg and --grain not negative");
  const auto [lo, hi] = range_from(o.density, "--density", 25);
  const Enough e = enough(needle, lo, hi, o.need_mg, o.grain_mm, filling_from(o.filling));
  if (o.as_json) {
    console.out << to_json(e).dump(1) << "\n";
    return;
  }
  console.out << "one core of " << fixed(e.core_mm3, 1) << " mm3 gives " << fixed(e.mass_mg, 1) << " mg (90 % interval "
              << fixed(e.mass_mg_p05, 1) << " to " << fixed(e.mass_mg_p95, 1) << " mg); chance of " << fixed(o.need_mg, 1)
              << " mg: " << fixed(100 * e.p_enough, 0) << " %\n" << e.conclusion << "\n";
  for (const std::string& remark : e.remarks) console.out << "- " << remark << "\n";
}

/// Sides mean nothing before a person has said where the object's left is.
void check_sides(const RequestFile& request, const CaseFile& file) {
  for (const Request& r : request.requests)
    if (r.sides != Sides::any && !file.frame)
      throw BadInput("request " + r.id + " asks for sides, but nobody has confirmed the body frame yet: run  leastharm orient --case ... "
                     "--accept --by NAME  (or --head and --front), or ask for sides \"any\"");
}

void check_cavities(const RequestFile& request, const CaseFile& file) {
  for (const Request& r : request.requests) {
    if (r.cavity.empty()) continue;
    std::vector<std::string> cavities;
    for (const MarkRecord& m : file.marks)
      if (m.kind == MarkKind::cavity) cavities.push_back(m.name);
    if (std::ranges::find(cavities, r.cavity) != cavities.end()) continue;
    std::string names;
    for (const auto& name : cavities) names += (names.empty() ? "\"" : ", \"") + name + "\"";
    throw BadInput("request " + r.id + " names the cavity \"" + r.cavity + "\", which this case does not have; it has " +
                   (names.empty() ? "none: set it with  leastharm mark --as cavity" : names));
  }
}

json settings_of(const RequestFile& request) { return to_json(request); }

void print_track(std::ostream& out, const TrackAssessment& t) {
  out << t.track.id << "  " << (t.admissible ? "" : "NOT ADMISSIBLE  ") << t.side << ", " << fixed(t.path_length_mm, 1)
      << " mm deep, entry angle " << fixed(t.entry_angle_deg, 0) << " deg, score " << fixed(t.damage.score, 1) << "\n    "
      << fixed(t.core.mass_mg, 1) << " mg (90 % interval " << fixed(t.core.mass_mg_p05, 1) << " to "
      << fixed(t.core.mass_mg_p95, 1) << " mg)";
  if (t.core.p_enough) out << ", chance of enough " << fixed(100 * *t.core.p_enough, 0) << " %";
  out << "\n    ";
  for (const Crossing& c : t.crossings)
    out << name_of(c.material) << " " << fixed(c.to_mm - c.from_mm, 1) << " mm" << (&c == &t.crossings.back() ? "\n" : ", ");
  print_findings(out, t.findings);
}

void print_what_else(std::ostream& out, const Proposal& proposal) {
  out << firmness_sentence(proposal.firmness) << "\n";
  for (const Alternative& a : proposal.alternatives)
    out << a.id << "  best in " << a.best_in << ": in place of " << a.in_place_of << " the score is "
        << fixed(a.assessment.programme.score, 1) << ", " << fixed(a.route().core.mass_mg, 1) << " mg, chance of enough "
        << fixed(100 * a.route().core.p_enough.value_or(0), 0) << " %\n";
  for (const Price& price : proposal.prices) {
    out << name_of(price.choice) << ": ";
    if (price.found) out << "score " << fixed(price.assessment.programme.score, 1) << "; ";
    else out << "no admissible tracks found; ";
    out << "lost: " << price.lost << "\n";
  }
}

struct PlanOptions {
  std::string case_path, request, tracks, track, in_place_of;
  std::uint64_t seed = 1;
  bool as_json = false;
};

void propose_tracks(const PlanOptions& o, const Console& console) {
  CaseFolder folder = CaseFolder::open(o.case_path);
  if (o.request.empty() && !folder.file.request)
    throw BadInput("nothing was asked of this case yet: give  --request FILE");
  const RequestFile request = o.request.empty() ? *folder.file.request : read_request_file(o.request);
  check_cavities(request, folder.file);
  check_sides(request, folder.file);
  const auto volumes = open_volumes(folder);
  const Proposal proposal = propose(volumes->body, request, o.seed, terminal_progress(console));
  if (proposal.feasible) {
    take_proposal(folder.file, request, proposal);
    folder.save();
  }
  if (o.as_json) {
    json answer = to_json(proposal);
    answer["settings"] = settings_of(request);
    console.out << answer.dump(1) << "\n";
  } else if (proposal.feasible) {
    print_assessment(console.out, proposal.assessment, proposal.certificate);
    print_what_else(console.out, proposal);
  }
  if (!proposal.feasible) throw NoAnswer(why_not(proposal));
}

std::string free_track_id(const std::vector<Track>& tracks) {
  std::set<std::string> taken;
  for (const Track& t : tracks) taken.insert(t.id);
  int n = 1;
  while (taken.contains("T" + std::to_string(n))) ++n;
  return "T" + std::to_string(n);
}

/// The alternative enters the plan; the track that makes room takes its place among the alternatives, to be had back.
void adopt_track(const PlanOptions& o, const Console& console) {
  CaseFolder folder = CaseFolder::open(o.case_path);
  CaseFile& file = folder.file;
  const auto alternative = std::ranges::find(file.alternatives, o.track, &AlternativeTracks::id);
  if (alternative == file.alternatives.end())
    throw BadInput("no alternative \"" + o.track + "\" in this case: leastharm propose lists them (A1, A2, ...)");
  std::vector<Track>& tracks = file.plan.tracks;
  const auto replaced = std::ranges::find(tracks, o.in_place_of, &Track::id);
  if (!o.in_place_of.empty() && replaced == tracks.end())
    throw BadInput("--in-place-of: the plan has no track \"" + o.in_place_of + "\"");
  Track entering = alternative->tracks.front();
  if (replaced == tracks.end()) {
    entering.id = free_track_id(tracks);
    file.alternatives.erase(alternative);
    tracks.push_back(entering);
  } else {
    entering.id = replaced->id;
    alternative->tracks = {*replaced};
    alternative->best_in = "having been in the plan before";
    alternative->in_place_of = entering.id;
    *replaced = entering;
  }
  console.out << o.track << " enters the plan as " << entering.id << "\n";
  // The bound and the firmness were proven for the tracks that the search chose.
  file.plan.certificate.reset();
  file.plan.firmness.reset();
  file.plan.stopped.clear();
  print_assessment(console.out, assess_plan(folder, *open_volumes(folder), o.seed), std::nullopt);
  folder.save();
}

void assess_tracks(const PlanOptions& o, const Console& console) {
  const CaseFolder folder = CaseFolder::open(o.case_path);
  const RequestFile request = o.request.empty() ? request_of(folder.file) : read_request_file(o.request);
  const auto volumes = open_volumes(folder);
  std::optional<Certificate> certificate;
  Assessment answer;
  if (o.tracks.empty()) {
    answer = assess_plan(folder, *volumes, o.seed);
    certificate = folder.file.plan.certificate;
  } else {
    answer = assess(volumes->body, request,
                    parse_json_file(o.tracks, [&](const json& j) { return parse_tracks(j, folder.file.ct.frame_of_reference_uid); }), o.seed);
  }
  if (!o.as_json) return print_assessment(console.out, answer, certificate);
  json j = to_json(answer);
  if (certificate) {
    j["certificate"] = to_json(*certificate);
    j["stopped"] = folder.file.plan.stopped;
  }
  j["settings"] = settings_of(request);
  console.out << j.dump(1) << "\n";
}

}  // namespace

SearchProgress terminal_progress(const Console& console) {
  if (&console.err != &std::cerr || isatty(STDERR_FILENO) == 0) return {};
  return [&err = console.err](double best, double bound, double seconds) {
    err << "\r" << fixed(seconds, 0) << " s: best score " << fixed(best, 1) << ", bound " << fixed(bound, 1) << "   " << std::flush;
    return true;
  };
}

void print_assessment(std::ostream& out, const Assessment& a, const std::optional<Certificate>& certificate) {
  for (const TrackAssessment& t : a.tracks) print_track(out, t);
  out << "together: score " << fixed(a.programme.score, 1) << ", " << a.programme.holes << " holes, "
      << fixed(a.programme.mass_mg, 1) << " mg\n";
  print_findings(out, a.programme.findings);
  if (certificate)
    out << "lower bound " << fixed(certificate->lower_bound, 1) << ", gap " << fixed(100 * certificate->gap, 1) << " % ("
        << certificate->method << ")\n";
}

std::string why_not(const Proposal& proposal) {
  std::string text = "no admissible answer";
  for (const Blocking& b : proposal.blocking)
    text += "; request " + b.request + ": " + b.constraint + " needs " + fixed(b.needed, 1) + " " + b.unit + ", best found " +
            fixed(b.best_found, 1) + " " + b.unit + (b.remedy.empty() ? "" : " (" + b.remedy + ")");
  return text;
}

void take_proposal(CaseFile& file, const RequestFile& request, const Proposal& proposal) {
  file.request = request;
  file.plan = {.certificate = proposal.certificate, .stopped = proposal.stopped, .firmness = proposal.firmness};
  for (const TrackAssessment& t : proposal.assessment.tracks) file.plan.tracks.push_back(t.track);
  keep_choices(file, proposal);
}

void add_plan_commands(CLI::App& program, const Console& console) {
  auto* needles_command = program.add_subcommand("needles", "List the needles that ship with the program");
  auto needles_json = std::make_shared<bool>(false);
  needles_command->add_flag("--json", *needles_json, "Answer as JSON");
  needles_command->callback([=] { list_needles(*needles_json, console); });

  auto* enough_command = program.add_subcommand("enough", "Say what one core holds and what that can show; needs no CT");
  auto e = std::make_shared<EnoughOptions>();
  enough_command->add_option("--bore", e->bore_mm, "Bore, mm")->required();
  enough_command->add_option("--throw", e->throw_mm, "Core length, mm")->required();
  enough_command->add_option("--density", e->density, "Bulk density, LO,HI in g/cm3 (5 % and 95 % points)")->required();
  enough_command->add_option("--need", e->need_mg, "Mass that the laboratory needs, mg")->required();
  enough_command->add_option("--recovery", e->recovery, "Fraction of the bore that comes out: LO,HI");
  enough_command->add_option("--grain", e->grain_mm, "Largest particle (95 % sieve size), mm");
  enough_command->add_option("--filling", e->filling, "What it consists of: plant fibre, sand, mud or natron (grains are counted by it)");
  enough_command->add_flag("--json", e->as_json, "Answer as JSON");
  enough_command->callback([=] { say_enough(*e, console); });

  const auto add = [&](const char* name, const char* what, void (*run)(const PlanOptions&, const Console&)) {
    auto* command = program.add_subcommand(name, what);
    auto options = std::make_shared<PlanOptions>();
    command->add_option("--case", options->case_path, "Case folder")->required();
    command->callback([=] { run(*options, console); });
    return std::pair{command, options};
  };
  const auto [propose_command, p] = add("propose", "Find the tracks that answer a request with the least damage", propose_tracks);
  propose_command->add_option("--request", p->request, "Request file (JSON); without it, what was asked of this case before");
  propose_command->add_option("--seed", p->seed, "Seed of every random draw")->check(CLI::NonNegativeNumber);
  propose_command->add_flag("--json", p->as_json, "Answer as JSON");
  const auto [adopt_command, a] = add("adopt", "Take an alternative into the plan", adopt_track);
  adopt_command->add_option("--track", a->track, "Alternative: A1, A2, ...")->required();
  adopt_command->add_option("--in-place-of", a->in_place_of, "Track of the plan that it replaces");
  const auto [assess_command, s] = add("assess", "Give the figures of tracks: yours, or the case's own", assess_tracks);
  assess_command->add_option("--tracks", s->tracks, "Tracks file (JSON); without it, the case's own tracks");
  assess_command->add_option("--request", s->request, "Request file to assess under, instead of the case's");
  assess_command->add_option("--seed", s->seed, "Seed of every random draw")->check(CLI::NonNegativeNumber);
  assess_command->add_flag("--json", s->as_json, "Answer as JSON");
}

}  // namespace leastharm
