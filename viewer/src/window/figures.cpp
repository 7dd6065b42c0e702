#include "window/figures.h"

#include <algorithm>
#include <chrono>

#include "imaging/error.h"
#include "planner/cylinder.h"
#include "planner/together.h"
#include "window/give_way.h"

namespace leastharm {
namespace {

constexpr double kLogFromMm = -12, kLogBeyondMm = 40, kLogStepMm = 0.5;

template <typename Assess>
TrackFiguresPtr figures_by(const Ground& ground, const Track& track, Assess assess) {
  const auto begun = std::chrono::steady_clock::now();
  auto figures = std::make_shared<TrackFigures>();
  figures->asked = track;
  figures->assessment.track = track;
  figures->ground_number = ground.number;
  try {
    figures->assessment = assess();
    figures->log = log_along(ground.body, figures->assessment.track, log_from_mm(),
                             log_to_mm(figures->assessment.track), kLogStepMm);
  } catch (const BadInput& fault) {
    figures->fault = fault.what();
  }
  figures->seconds =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
  return figures;
}

TrackFiguresPtr figures_with_chances(const Ground& ground, const Track& track) {
  auto figures = std::make_shared<TrackFigures>(
      *figures_by(ground, track, [&] { return ground.assessor->assess_track(track); }));
  figures->with_chances = figures->fault.empty();
  return figures;
}

bool all_known(const std::vector<TrackFiguresPtr>& tracks) {
  return !tracks.empty() && std::ranges::all_of(tracks, [](const TrackFiguresPtr& t) {
    return t && t->fault.empty();
  });
}

}  // namespace

bool same_track(const Track& a, const Track& b) {
  return a.id == b.id && a.request == b.request && a.entry_lps_mm == b.entry_lps_mm &&
         a.tip_lps_mm == b.tip_lps_mm && to_json(a.needle) == to_json(b.needle);
}

double log_from_mm() { return kLogFromMm; }
double log_to_mm(const Track& track) {
  return path_length_mm(track) + track.needle.dead_tip_mm + kLogBeyondMm;
}

TrackFiguresPtr exact_figures(const Ground& ground, const Track& track) {
  return figures_by(ground, track, [&] { return ground.assessor->assess_exact(track); });
}

Programme programme_of(const Ground& ground, const std::vector<TrackFiguresPtr>& tracks) {
  std::vector<TrackAssessment> assessments;
  Programme programme;
  for (const TrackFiguresPtr& t : tracks) {
    assessments.push_back(t->assessment);
    programme.mass_mg += t->assessment.core.mass_mg;
  }
  const SharedHoles holes = shared_holes(ground.body, assessments);
  programme.score = score_together(assessments, holes);
  programme.holes = holes.count;
  check_together(ground.assessor->file(), holes, assessments, programme);
  return programme;
}

FigureService::FigureService(Deliver deliver)
    : deliver_(std::move(deliver)),
      patient_([this](const FiguresRequest& request) {
        give_way();
        give_chances(request);
      }),
      exact_([this](const FiguresRequest& request) { give_exact(request); }) {}

void FigureService::ask(FiguresRequest request) {
  patient_.forget();
  exact_.ask(std::move(request));
}

void FigureService::give_exact(const FiguresRequest& request) {
  FiguresRequest next = request;
  const auto answer = [&] {
    FiguresAnswer a{.ticket = next.ticket, .tracks = next.known};
    a.programme_known = all_known(next.known);
    if (a.programme_known) a.programme = programme_of(*next.ground, next.known);
    return a;
  };
  const auto give = [&](std::size_t n) {
    if (!next.known[n]) next.known[n] = exact_figures(*next.ground, next.tracks[n]);
  };
  if (next.tracks.empty()) return deliver_(answer());
  give(next.in_hand);
  deliver_(answer());
  for (std::size_t n = 0; n < next.tracks.size(); ++n) {
    if (exact_.superseded()) return;
    give(n);
  }
  deliver_(answer());
  if (!exact_.superseded()) patient_.ask(std::move(next));
}

/// Where one track cannot be assessed, the others still can, each for itself.
void FigureService::give_own_chances(const FiguresRequest& request, FiguresAnswer answer) {
  if (request.moving) return;
  for (std::size_t n = 0; n < answer.tracks.size(); ++n) {
    if (patient_.superseded()) return;
    if (answer.tracks[n]->fault.empty() && !answer.tracks[n]->with_chances)
      answer.tracks[n] = figures_with_chances(*request.ground, request.tracks[n]);
  }
  deliver_(std::move(answer));
}

void FigureService::give_chances(const FiguresRequest& request) {
  FiguresAnswer answer{.ticket = request.ticket, .tracks = request.known};
  answer.programme_known = all_known(answer.tracks);
  if (answer.programme_known) answer.programme = programme_of(*request.ground, answer.tracks);
  TrackFiguresPtr& in_hand = answer.tracks[request.in_hand];
  const bool together = answer.programme_known && !request.moving;
  // All together gives each track's own too: of a single track nothing is worked out twice.
  if (!in_hand->with_chances && !(together && answer.tracks.size() == 1)) {
    in_hand = figures_with_chances(*request.ground, request.tracks[request.in_hand]);
    deliver_(answer);
  }
  if (!together) return give_own_chances(request, std::move(answer));
  if (patient_.superseded()) return;
  const Assessment all = request.ground->assessor->assess(request.tracks);
  for (std::size_t n = 0; n < answer.tracks.size(); ++n) {
    auto figures = std::make_shared<TrackFigures>(*answer.tracks[n]);
    figures->assessment = all.tracks[n];
    figures->with_chances = true;
    answer.tracks[n] = std::move(figures);
  }
  answer.programme = all.programme;
  answer.programme_with_chances = true;
  deliver_(std::move(answer));
}

}  // namespace leastharm
