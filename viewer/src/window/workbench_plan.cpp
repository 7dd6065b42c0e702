// Request, search, adopting, approving.
#include <algorithm>

#include "imaging/error.h"
#include "window/screen_words.h"
#include "window/workbench.h"
#include "window/workbench_parts.h"

namespace leastharm {

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
  search_ = {.running = true};
  stop_search_ = std::make_shared<std::atomic<bool>>(false);
  search_thread_ =
      std::thread([this, ground = ground_, request = file().request.value_or(RequestFile{}),
                   stop = stop_search_, back = poster()] {
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

void Workbench::adopt(std::size_t which) {
  if (search_.running || !search_.proposal || !search_.proposal->feasible) return;
  const Proposal& proposal = *search_.proposal;
  if (which > proposal.alternatives.size()) return;
  const Assessment& taken =
      which == 0 ? proposal.assessment : proposal.alternatives[which - 1].assessment;
  const std::string name = which == 0 ? say("step.answer") : proposal.alternatives[which - 1].id;
  figures_.tracks.assign(taken.tracks.size(), nullptr);
  figures_.programme_known = false;
  in_hand_ = 0;
  change(say("step.adopt", name), kTrackMoved, [&](Draft& draft) {
    draft.file.plan = {};
    for (const TrackAssessment& t : taken.tracks) {
      Track track = t.track;
      track.id = free_id(draft.file.plan.tracks);
      draft.file.plan.tracks.push_back(std::move(track));
    }
    keep_choices(draft.file, proposal);
    draft.bound = proposal.certificate;
    if (which != 0) return;
    draft.file.plan.certificate = proposal.certificate;
    draft.file.plan.stopped = proposal.stopped;
    draft.file.plan.firmness = proposal.firmness;
  });
  if (has_track()) view_.track = track().id;
  keep_view();
  ask_figures();
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
