// Request, search, adopting, approving.
#include <algorithm>

#include "imaging/error.h"
#include "window/compared.h"
#include "window/give_way.h"
#include "window/screen_words.h"
#include "window/workbench.h"
#include "window/workbench_parts.h"

namespace leastharm {
namespace {

/// Hash of every part of a case that a search hangs on: all that an approval binds, but the tracks.
std::map<std::string, std::string> asked_parts(const CaseFile& file) {
  auto parts = plan_parts(file);
  parts.erase("tracks");
  return parts;
}

}  // namespace

void Workbench::set_request(const RequestFile& request) {
  if (file().request && to_json(*file().request) == to_json(request)) return;
  change(say("step.asked"), 0, [&](Draft& draft) {
    draft.file.request = request;
    draft.file.alternatives.clear();
    draft.file.prices.clear();
    draft.bound.reset();
    draft.file.plan.certificate.reset();
  });
  ask_ground();
}

void Workbench::start_search() {
  if (search_.running || !ground_) return;
  if (search_thread_.joinable()) search_thread_.join();
  search_ = {.running = true, .asked = asked_parts(file())};
  stop_search_ = std::make_shared<std::atomic<bool>>(false);
  search_thread_ =
      std::thread([this, ground = ground_, request = file().request.value_or(RequestFile{}),
                   stop = stop_search_, back = poster()] {
        give_way();
        std::shared_ptr<const Proposal> proposal;
        std::string fault;
        const auto progress = [&](double best, double bound, double seconds) {
          back([this, best, bound, seconds] {
            search_.curve.push_back({seconds, best, bound});
            tell(kSearchChanged);
          });
          return !stop->load();
        };
        try {
          proposal = std::make_shared<const Proposal>(propose(ground->body, request, 1, progress));
        } catch (const std::exception& e) {
          fault = e.what();
        }
        back([this, proposal, fault] {
          search_.running = false;
          search_.proposal = proposal;
          search_.fault = fault;
          tell(kSearchChanged);
        });
      });
  tell(kSearchChanged);
}

void Workbench::stop_search() {
  if (stop_search_) *stop_search_ = true;
}

void Workbench::compare_kept() {
  if (search_.running || search_.proposal || tracks().empty()) return;
  if (file().alternatives.empty() && file().prices.empty()) return;
  jobs_.add([this, kept = file(), ground = ground_, parts = asked_parts(file()), back = poster()] {
    auto proposal = std::make_shared<Proposal>();
    try {
      proposal->feasible = true;
      proposal->assessment = assess(ground->body, kept.request.value_or(RequestFile{}), kept.plan.tracks);
      proposal->alternatives = alternatives_of(kept, ground->body);
      proposal->prices = prices_of(kept, ground->body);
      proposal->certificate = kept.plan.certificate.value_or(Certificate{});
      proposal->stopped = kept.plan.stopped;
    } catch (const BadInput&) {
      return;  // the figures say what is wrong with the tracks
    }
    back([this, proposal, parts] {
      if (search_.running || search_.proposal) return;
      search_.proposal = proposal;
      search_.kept = true;
      search_.asked = parts;
      tell(kSearchChanged);
    });
  });
}

bool Workbench::search_is_stale() const { return search_.proposal && search_.asked != asked_parts(file()); }

void Workbench::adopt(std::size_t which) {
  if (search_.running || !search_.proposal) return;
  const std::shared_ptr<const Proposal> proposal = search_.proposal;
  const std::vector<ComparedPlan> plans = compared_plans(*proposal);
  if (which >= plans.size()) return;
  const ComparedPlan& chosen = plans[which];
  if (search_is_stale()) return tell_person(Level::refused, say("compare.stale"));
  if (chosen.assessment == nullptr) return tell_person(Level::note, say("compare.notracks", chosen.name));
  figures_.tracks.assign(chosen.assessment->tracks.size(), nullptr);
  figures_.programme_known = false;
  in_hand_ = 0;
  const std::string name = which == 0 ? say("step.answer") : chosen.name;
  change(say("step.adopt", name), kTrackMoved, [&](Draft& draft) {
    const PlannedTracks former = std::exchange(draft.file.plan, {});
    for (const TrackAssessment& t : chosen.assessment->tracks) {
      Track track = t.track;
      track.id = free_id(draft.file.plan.tracks);
      draft.file.plan.tracks.push_back(std::move(track));
    }
    if (chosen.lesser) {  // another question: what was proven for the first does not answer it
      draft.file.request = request_at(draft.file.request.value_or(RequestFile{}), *chosen.lesser);
      draft.file.alternatives.clear();
      draft.file.prices.clear();
      draft.bound.reset();
      return;
    }
    keep_choices(draft.file, *proposal);
    if (!search_.kept) draft.bound = proposal->certificate;
    if (which != 0) return;
    draft.file.plan.certificate = search_.kept ? former.certificate : proposal->certificate;
    draft.file.plan.stopped = search_.kept ? former.stopped : proposal->stopped;
    draft.file.plan.firmness = search_.kept ? former.firmness : proposal->firmness;
  });
  if (has_track()) view_.track = track().id;
  keep_view();
  chosen.lesser ? ask_ground() : ask_figures();
  tell(kTrackMoved | kViewChanged);
}

void Workbench::approve(const std::string& role, const std::string& by, bool declined,
                        const std::string& condition, const std::string& note) {
  if (by.empty()) return tell_person(Level::refused, say("tell.statement"));
  if (tracks().empty()) return tell_person(Level::refused, say("approve.noplan"));
  end_gesture();
  draft_.file.approvals.push_back({.role = role,
                                   .by = by,
                                   .at = utc_now(),
                                   .decision = declined ? "declined" : "approved",
                                   .condition = condition,
                                   .note = note,
                                   .plan_sha256 = plan_sha256(file()),
                                   .parts = plan_parts(file())});
  keep();
  tell(kDraftChanged);
}

}  // namespace leastharm
