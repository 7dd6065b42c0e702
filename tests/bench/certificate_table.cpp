// How near a proposal is to its proven bound, against time, on invented bodies of several kinds: one core of their packing, or a
// programme of several.
//   certificate_table [--seconds S] [--both] [--cores N] [BODY...]
// Prints a table in Markdown, with how long each whole proposal took. The bodies' true maps are used, so that nothing but the search is measured.
#include <CLI/CLI.hpp>
#include <chrono>
#include <iostream>

#include "planner/text.h"
#include "support/phantom_case.h"

namespace leastharm {
namespace {

constexpr std::array kTold{1.0, 5.0, 10.0, 30.0, 60.0};   // seconds after which the gap is told

/// Several cores stand on both sides of the spine, 15 mm apart.
RequestFile request_for(int cores, double seconds) {
  RequestFile file = test::one_core(test::usual_needle());
  Request& request = file.requests[0];
  request.replicates = cores;
  if (cores > 1) request.sides = Sides::both, request.spacing_mm = 15;
  file.time_s = seconds;
  return file;
}

void tell(const std::string& name, bool opening, int cores, double seconds) {
  const phantom::Phantom made = phantom::make_phantom(name);
  if (opening && !made.points.contains("opening")) return;
  Body body = test::body_of(made);
  if (opening) body.marks.push_back({"opening", MarkKind::opening, 0, false, ball_mask(made.hu.grid, made.points.at("opening"), 15)});
  std::vector<std::string> gaps(kTold.size(), "–");
  std::size_t next = 0;
  double found_s = 0;
  const auto begun = std::chrono::steady_clock::now();
  const Proposal proposal = propose(body, request_for(cores, seconds), 1, [&](double best, double bound, double now) {
    if (best <= 0) found_s = now;   // the search has its routes; the bound begins
    for (; next < kTold.size() && best > 0 && now - found_s >= kTold[next]; ++next) gaps[next] = fixed(100 * (1 - bound / best), 0) + " %";
    return true;
  });
  const double whole_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  std::cout << "| " << name << (opening ? ", its opening marked" : "") << " | " << fixed(static_cast<double>(body.hu.size()) / 1e6, 1) << " | "
            << fixed(found_s, 0) << " | ";
  if (!proposal.feasible) {
    std::cout << "no admissible track |\n";
    return;
  }
  for (const std::string& gap : gaps) std::cout << gap << " | ";
  std::cout << fixed(proposal.assessment.programme.score, 1) << " | " << fixed(proposal.certificate.lower_bound, 1) << " | "
            << fixed(100 * proposal.certificate.gap, 1) << " % (" << proposal.stopped << ") | " << fixed(whole_s, 0)
            << " |\n" << std::flush;
}

int run(int argc, char** argv) {
  double seconds = 90;
  bool both = false;
  int cores = 1;
  std::vector<std::string> names{"adult", "child", "animal", "sand-packed"};
  CLI::App app("How near proposals are to their proven bounds");
  app.add_option("bodies", names, "names of invented bodies");
  app.add_option("--seconds", seconds, "time_s of the request");
  app.add_flag("--both", both, "each body once more with its opening marked");
  app.add_option("--cores", cores, "how many, on both sides");
  CLI11_PARSE(app, argc, argv);
  std::cout << "| body | Mvoxel | routes after, s | gap after 1 s | 5 s | 10 s | 30 s | 60 s | score | bound | gap in the end | whole, s |\n"
               "|---|---|---|---|---|---|---|---|---|---|---|---|\n";
  for (const std::string& name : names)
    for (const bool opening : {false, true})
      if (!opening || both) tell(name, opening, cores, seconds);
  return 0;
}

}  // namespace
}  // namespace leastharm

int main(int argc, char** argv) { return leastharm::run(argc, argv); }
