// Alternatives and lesser choices, into the case and out of it.
#include <algorithm>

#include "planner/case.h"

namespace leastharm {
namespace {

std::vector<Track> tracks_of(const Assessment& assessment) {
  std::vector<Track> tracks;
  for (const TrackAssessment& a : assessment.tracks) tracks.push_back(a.track);
  return tracks;
}

RequestFile request_of(const CaseFile& file) { return file.request.value_or(RequestFile{}); }

}  // namespace

void keep_choices(CaseFile& file, const Proposal& proposal) {
  file.alternatives.clear();
  for (const Alternative& a : proposal.alternatives)
    file.alternatives.push_back({a.id, a.best_in, a.in_place_of, {a.route().track}});
  file.prices.clear();
  for (const Price& price : proposal.prices)
    file.prices.push_back({price.choice, price.found, tracks_of(price.assessment)});
}

std::vector<Alternative> alternatives_of(const CaseFile& file, const Body& body) {
  std::vector<Alternative> all;
  for (const AlternativeTracks& kept : file.alternatives) {
    std::vector<Track> tracks = file.plan.tracks;
    const auto place = std::ranges::find(tracks, kept.in_place_of, &Track::id);
    const auto at = place == tracks.end() ? place : tracks.erase(place);
    tracks.insert(at, kept.tracks.begin(), kept.tracks.end());
    all.push_back({kept.id, kept.best_in, kept.in_place_of, assess(body, request_of(file), tracks)});
  }
  return all;
}

std::vector<Price> prices_of(const CaseFile& file, const Body& body) {
  std::vector<Price> prices;
  for (const PricedTracks& kept : file.prices) {
    const RequestFile request = request_at(request_of(file), kept.choice);
    const bool has_tracks = kept.found && !kept.tracks.empty();
    prices.push_back({kept.choice, kept.found, has_tracks ? assess(body, request, kept.tracks) : Assessment{},
                      conclusion_lost(request_of(file), kept.choice)});
  }
  return prices;
}

}  // namespace leastharm
