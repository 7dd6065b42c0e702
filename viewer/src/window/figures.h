#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "needle_log.h"
#include "planner/assess.h"
#include "window/ground.h"
#include "window/latest_worker.h"

namespace leastharm {

/// What is known of one track on one ground.
struct TrackFigures {
  Track asked;                 ///< the track as it was asked for
  TrackAssessment assessment;  ///< meaningless where `fault` says something
  std::string fault;           ///< why the track cannot be assessed
  bool with_chances = false;   ///< chances and intervals included
  NeedleLog log;
  double seconds = 0;               ///< that the computation took
  std::uint64_t ground_number = 0;  ///< of the ground they hold on
};
using TrackFiguresPtr = std::shared_ptr<const TrackFigures>;

/// What is asked for: all tracks of the plan, the one in hand first.
struct FiguresRequest {
  std::uint64_t ticket = 0;
  std::shared_ptr<const Ground> ground;
  std::vector<Track> tracks;
  std::size_t in_hand = 0;
  std::vector<TrackFiguresPtr> known;  ///< what need not be computed again; null elsewhere
  /// The track in hand is still moving: its own chances are given, those of all tracks together once it rests.
  bool moving = false;
};

/// What came out, track by track; null where nothing is known yet.
struct FiguresAnswer {
  std::uint64_t ticket = 0;
  std::vector<TrackFiguresPtr> tracks;
  Programme programme;
  bool programme_known = false;  ///< every track could be assessed
  bool programme_with_chances = false;
};

/// Whether two tracks are the same in all that their figures hang on.
[[nodiscard]] bool same_track(const Track& a, const Track& b);

/// Depths over which a track's log is kept: from 12 mm in front of the entry.
[[nodiscard]] double log_from_mm();
[[nodiscard]] double log_to_mm(const Track& track);

[[nodiscard]] TrackFiguresPtr exact_figures(const Ground& ground, const Track& track);
/// Score, holes and median mass of tracks together, from what is known of each.
[[nodiscard]] Programme programme_of(const Ground& ground,
                                     const std::vector<TrackFiguresPtr>& tracks);

/// Gives figures as a track moves, in two threads so that the exact part never waits for the
/// chances.
class FigureService {
 public:
  using Deliver = std::function<void(FiguresAnswer)>;  ///< called on the service's threads
  explicit FigureService(Deliver deliver);

  /// The exact figures at once; chances and intervals after them, of the newest request only: first of the track in
  /// hand, then of all together.
  void ask(FiguresRequest request);
  [[nodiscard]] bool idle() const { return exact_.idle() && patient_.idle(); }

 private:
  void give_exact(const FiguresRequest& request);
  void give_chances(const FiguresRequest& request);
  void give_own_chances(const FiguresRequest& request, FiguresAnswer answer);
  Deliver deliver_;
  LatestWorker<FiguresRequest> patient_;
  LatestWorker<FiguresRequest> exact_;  ///< last: it stops first, and asks `patient_`
};

}  // namespace leastharm
