#include "window/workbench.h"

#include <algorithm>
#include <cstdlib>
#include <ctime>

#include "planner/cylinder.h"
#include "planner/entry.h"
#include "window/aim.h"
#include "window/screen_words.h"
#include "window/workbench_parts.h"

namespace leastharm {

std::string utc_now() {
  std::time_t now = std::time(nullptr);
  if (const char* still = std::getenv("SOURCE_DATE_EPOCH")) now = std::atoll(still);
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[32];
  return {text, std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc)};
}

Workbench::Workbench(Post post)
    : post_(std::move(post)), era_(std::make_shared<std::atomic<std::uint64_t>>(1)) {}

Workbench::~Workbench() {
  on_change = nullptr;
  close();
  *era_ = 0;
}

Workbench::Post Workbench::poster() const {
  return [post = post_, era = era_, then = era_->load()](std::function<void()> what) {
    post([=] {
      if (*era == then) what();
    });
  };
}

void Workbench::tell_person(Level level, const std::string& what) {
  messages_.push_back({level, what});
  tell(kSaid);
}

std::vector<Finding> Workbench::take_messages() { return std::exchange(messages_, {}); }

bool Workbench::idle() const {
  return jobs_.idle() && map_jobs_ == 0 && stage_ != Stage::reading &&
         ground_asked_ == ground_got_ && (!service_ || service_->idle()) &&
         (!keeper_ || keeper_->idle());
}

// Figures.

void Workbench::ask_ground() {
  if (!ground_worker_ || map_jobs_ > 0) return;
  ground_worker_->ask({++ground_asked_, draft_, volumes_});
}

void Workbench::ask_figures() {
  if (!service_ || !ground_) return;
  FiguresRequest request{
      .ticket = ++ticket_, .ground = ground_, .tracks = tracks(), .in_hand = in_hand_, .moving = gesture_.has_value()};
  request.known.resize(tracks().size());
  for (std::size_t n = 0; n < tracks().size(); ++n)
    if (const auto f = figures_of(n);
        f && f->ground_number == ground_->number && same_track(f->asked, tracks()[n]))
      request.known[n] = f;
  asked_in_motion_ = request.moving;
  service_->ask(std::move(request));
}

void Workbench::take_figures(FiguresAnswer answer) {
  // Older answers still show where the needle just was; the newest is under way.
  if (answer.tracks.size() != tracks().size() || answer.ticket < figures_.ticket) return;
  const bool newest = answer.ticket == ticket_;
  for (std::size_t n = 0; n < answer.tracks.size(); ++n)
    if (!answer.tracks[n] && n < figures_.tracks.size()) answer.tracks[n] = figures_.tracks[n];
  figures_ = std::move(answer);
  if (newest && figures_.programme_with_chances && !gesture_ && !draft_.file.plan.certificate &&
      draft_.bound) {
    draft_.file.plan.certificate = certificate();
    if (draft_.file.plan.certificate) keep();
  }
  tell(kFiguresChanged);
}

TrackFiguresPtr Workbench::figures_of(std::size_t n) const {
  return n < figures_.tracks.size() ? figures_.tracks[n] : nullptr;
}

bool Workbench::figures_are_whole() const {
  if (stage_ != Stage::ready || tracks().empty()) return true;
  if (figures_.ticket != ticket_ || figures_.tracks.size() != tracks().size()) return false;
  const bool faulty = std::ranges::any_of(
      figures_.tracks, [](const TrackFiguresPtr& t) { return t && !t->fault.empty(); });
  const TrackFiguresPtr own = figures_of(in_hand_);
  return figures_.programme_with_chances || (asked_in_motion_ && own && own->with_chances) ||
         (faulty && service_->idle());
}

std::optional<Certificate> Workbench::certificate() const {
  if (!draft_.bound || !figures_.programme_known || figures_.tracks.size() != tracks().size())
    return std::nullopt;
  for (const Request& r : request().requests)
    if (std::ranges::count(tracks(), r.id, &Track::request) != r.replicates) return std::nullopt;
  for (const TrackFiguresPtr& t : figures_.tracks)
    if (!t->assessment.admissible) return std::nullopt;
  for (const Finding& finding : figures_.programme.findings)
    if (finding.level == Level::refused) return std::nullopt;
  Certificate certificate = *draft_.bound;
  const double score = figures_.programme.score;
  certificate.gap = score > 0 ? std::max(0.0, (score - certificate.lower_bound) / score) : 0;
  return certificate;
}

// Tracks.

void Workbench::take_in_hand(std::size_t n) {
  if (n == in_hand_ || n >= tracks().size()) return;
  in_hand_ = n;
  view_.track = track().id;
  keep_view();
  ask_figures();
  tell(kTrackMoved | kViewChanged);
}

void Workbench::part_from_search() {
  draft_.file.plan.certificate.reset();
  draft_.file.plan.firmness.reset();
  draft_.file.plan.stopped.clear();
}

void Workbench::begin_gesture(const std::string& what) {
  if (!gesture_) gesture_ = Step{what, draft_};
}

void Workbench::end_gesture() {
  if (!gesture_) return;
  const bool moved = to_json(gesture_->before.file) != to_json(draft_.file);
  // The entry as it was found on the surface is what the case keeps.
  if (moved && has_track())
    if (const auto point =
            find_entry_point(ground_->body, track().entry_lps_mm, track().tip_lps_mm))
      draft_.file.plan.tracks[in_hand_].entry_lps_mm = *point;
  if (moved) {
    past_.push_back(std::move(*gesture_));
    future_.clear();
  }
  gesture_.reset();
  if (moved || asked_in_motion_) ask_figures();  // now that it rests
  if (!moved) return;
  keep();
  tell(kTrackMoved | kDraftChanged);
}

void Workbench::move_track(const Track& to) {
  if (!has_track()) return;
  const bool alone = !gesture_;
  if (alone) begin_gesture(say("step.move", track().id));
  const std::string id = track().id;
  draft_.file.plan.tracks[in_hand_] = to;
  draft_.file.plan.tracks[in_hand_].id = id;
  part_from_search();
  ask_figures();
  tell(kTrackMoved);
  if (alone) end_gesture();
}

void Workbench::set_needle(const Needle& needle) {
  if (!has_track()) return;
  begin_gesture(say("step.needle", track().id));
  Track to = track();
  to.needle = needle;
  move_track(to);
  end_gesture();
}

void Workbench::set_track_request(const std::string& id) {
  if (!has_track()) return;
  begin_gesture(say("step.request", track().id));
  Track to = track();
  to.request = id;
  move_track(to);
  end_gesture();
}

void Workbench::add_track(const Vec3& target_lps_mm) {
  const RequestFile asked = draft_.file.request.value_or(RequestFile{});
  const Needle needle = has_track()             ? track().needle
                        : asked.needles.empty() ? needle_catalogue().front()
                                                : asked.needles.front();
  Track added = first_aim(ground_->body, target_lps_mm, needle);
  added.id = free_id(tracks());
  if (!asked.requests.empty()) added.request = asked.requests.front().id;
  begin_gesture(say("step.add", added.id));
  draft_.file.plan.tracks.push_back(added);
  part_from_search();
  in_hand_ = tracks().size() - 1;
  view_.track = added.id;
  keep_view();
  figures_.tracks.emplace_back();
  end_gesture();
  tell(kViewChanged);
}

void Workbench::remove_track() {
  if (!has_track()) return;
  begin_gesture(say("step.remove", track().id));
  draft_.file.plan.tracks.erase(draft_.file.plan.tracks.begin() +
                                static_cast<std::ptrdiff_t>(in_hand_));
  if (in_hand_ < figures_.tracks.size())
    figures_.tracks.erase(figures_.tracks.begin() + static_cast<std::ptrdiff_t>(in_hand_));
  figures_.programme_known = false;
  part_from_search();
  in_hand_ = tracks().empty() ? 0 : std::min(in_hand_, tracks().size() - 1);
  end_gesture();
}

// Steps.

void Workbench::change(const std::string& what, unsigned also,
                       const std::function<void(Draft&)>& edit) {
  end_gesture();
  Step step{what, draft_};
  edit(draft_);
  past_.push_back(std::move(step));
  future_.clear();
  keep();
  tell(kDraftChanged | also);
}

void Workbench::undo() {
  if (map_jobs_ > 0) return jobs_.add([this, back = poster()] { back([this] { undo(); }); });
  end_gesture();
  if (past_.empty()) return;
  Step step = std::move(past_.back());
  past_.pop_back();
  future_.push_back({step.what, draft_});
  restore(std::move(step.before));
}

void Workbench::redo() {
  if (map_jobs_ > 0) return jobs_.add([this, back = poster()] { back([this] { redo(); }); });
  end_gesture();
  if (future_.empty()) return;
  Step step = std::move(future_.back());
  future_.pop_back();
  past_.push_back({step.what, draft_});
  restore(std::move(step.before));
}

// Keeping and looking.

void Workbench::keep() {
  kept_ = false;
  if (!keeper_ || map_jobs_ > 0) return;  // kept as soon as the map is worked in
  keeper_->keep({draft_, volumes_, corrections_});
  tell(kKeptChanged);
}

void Workbench::take_kept(const Kept& kept) {
  fault_ = kept.fault;
  kept_ = kept.fault.empty();
  draft_.file.plan_version = kept.plan_version;
  draft_.file.last_plan_sha256 = kept.last_plan_sha256;
  for (MarkRecord& mark : draft_.file.marks)
    for (const MarkRecord& written : kept.marks)
      if (written.name == mark.name && written.sha256 == mark.sha256) mark.file = written.file;
  tell(kKeptChanged);
}

void Workbench::set_view(const ViewState& view) {
  view_ = view;
  keep_view();
  tell(kViewChanged);
}

void Workbench::keep_view() {
  if (view_keeper_) view_keeper_->keep(view_);
}

}  // namespace leastharm
