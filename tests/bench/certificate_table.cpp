#include <chrono>
#include <cstdio>
#include "planner/case.h"
#include "planner/propose.h"
#include "../../viewer/src/command_line/commands.h"
using namespace leastharm;
int main(int argc, char** argv) {
  CaseFolder folder = CaseFolder::open(argv[1]);
  RequestFile request = argc > 2 ? read_request_file(argv[2]) : *folder.file.request;
  if (argc > 3) request.time_s = atof(argv[3]);
  const auto volumes = open_volumes(folder);
  double told = 0;
  const Proposal p = propose(volumes->body, request, 1, [&](double best, double bound, double s) {
    if (s - told > 5) { told = s; printf("  %.1f s  bound %.2f of %.2f\n", s, bound, best); fflush(stdout); }
    return true; });
  printf("score %.2f bound %.2f gap %.3f %s\n", p.assessment.programme.score, p.certificate.lower_bound, p.certificate.gap, p.stopped.c_str());
  for (auto& t : p.assessment.tracks) printf("  %s %s %.2f path %.1f p %.3f\n", t.track.id.c_str(), t.side.c_str(), t.damage.score, t.path_length_mm, t.core.p_enough.value_or(0));
}
