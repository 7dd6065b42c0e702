#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "body_view.h"
#include "planner/propose.h"
#include "window/draft.h"
#include "window/figures.h"
#include "window/job_queue.h"
#include "window/keeper.h"
#include "window/view_state.h"

namespace leastharm {

/// How far a case has come.
enum class Stage { nothing, reading, ready, refused };
/// Why a case was refused, as far as something can be done about it.
enum class Refusal { none, missing_ct, damaged, other };

/// What has changed since the last word: bits.
enum Changed : unsigned {
  kStageChanged = 1,
  kTrackMoved = 2,  ///< a track, or which one is in hand
  kFiguresChanged = 4,
  kGroundChanged = 8,  ///< volumes, marks or request are ready for use
  kDraftChanged = 16,  ///< anything in the case file
  kSearchChanged = 32,
  kKeptChanged = 64,  ///< written, or not
  kViewChanged = 128,
  kSaid = 256  ///< something to tell the person
};

/// A mark as a person asks for it.
struct MarkRecipe {
  std::string name;
  MarkKind kind = MarkKind::cavity;
  double weight_mm = 0;
  enum class Way { ball, connected, outlines, material } way = Way::ball;
  Vec3 at_lps_mm{0, 0, 0};  ///< of a ball's centre, or the seed
  double radius_mm = 5;
  Material material = Material::packing;
  std::vector<Outline> outlines;
};

/// A stroke of the brush as a person draws it.
struct BrushPath {
  std::vector<Vec3> points_lps_mm;
  double radius_mm = 3;
  Material to = Material::packing;
  bool keep_to_border = true;  ///< only voxels of the material under the stroke's first point
};

/// The whole object from outside, head to the left.
struct BodyViews {
  BodyView from_front;
  BodyView from_side;  ///< its right side: the front is up then
};

/// A search under way or done.
struct SearchState {
  bool running = false;
  struct Point {
    double seconds = 0, best = 0, bound = 0;
  };
  std::vector<Point> curve;
  std::shared_ptr<const Proposal> proposal;  ///< null until it ended
  bool kept = false;  ///< not searched for now: worked out anew from what the case keeps of a former search
  std::map<std::string, std::string> asked;  ///< hash of every part of the case that the proposal hangs on
  std::string fault;
};

/// Everything the window knows and can do, without the window: a case, the track in hand, figures
/// that follow it, steps back and forth, and a thread that keeps every change.
///
/// Belongs to one thread. Other threads' results come back through `post`, which must run what it
/// is given on the owner's thread, one after another, and never after the workbench is gone.
class Workbench {
 public:
  using Post = std::function<void(std::function<void()>)>;
  explicit Workbench(Post post);
  Workbench(const Workbench&) = delete;
  Workbench& operator=(const Workbench&) = delete;
  ~Workbench();

  /// Called with bits of `Changed` after every change.
  std::function<void(unsigned)> on_change;
  /// Whether the case keeps where the person is looking. Set it before opening.
  bool keeps_view = true;

  // Opening.
  void open(const std::filesystem::path& root);
  void close();
  /// Looks through a folder for the case's CT by its hash, and opens the case with it.
  void find_ct(const std::filesystem::path& folder);
  /// Puts the newest state of history/ that can be read in the place of a damaged case.json (which
  /// is kept beside it).
  void restore_from_history();
  [[nodiscard]] Stage stage() const { return stage_; }
  [[nodiscard]] Refusal refusal() const { return refusal_; }
  [[nodiscard]] const std::string& refusal_text() const { return refusal_text_; }
  [[nodiscard]] const std::vector<std::string>& reading_lines() const { return reading_lines_; }
  [[nodiscard]] const std::filesystem::path& root() const { return root_; }

  // What there is. Preconditions: stage ready.
  [[nodiscard]] const CaseFile& file() const { return draft_.file; }
  [[nodiscard]] const Draft& draft() const { return draft_; }
  [[nodiscard]] const Ground& ground() const { return *ground_; }
  [[nodiscard]] std::shared_ptr<const Ground> ground_ptr() const { return ground_; }
  /// Whether the ground is behind the draft: marks or corrections are still being worked in.
  [[nodiscard]] bool ground_is_behind() const {
    return ground_asked_ != ground_got_ || !jobs_.idle();
  }
  [[nodiscard]] const BodyViews& body_views() const { return *body_views_; }
  [[nodiscard]] std::shared_ptr<const BodyViews> body_views_ptr() const { return body_views_; }
  [[nodiscard]] const RequestFile& request() const { return ground_->assessor->file(); }

  // The track in hand.
  [[nodiscard]] const std::vector<Track>& tracks() const { return draft_.file.plan.tracks; }
  [[nodiscard]] bool has_track() const { return in_hand_ < tracks().size(); }
  [[nodiscard]] std::size_t in_hand() const { return in_hand_; }
  [[nodiscard]] const Track& track() const { return tracks()[in_hand_]; }
  /// What is known of a track; null before anything is. While it moves, figures may be one move
  /// behind.
  [[nodiscard]] TrackFiguresPtr figures_of(std::size_t n) const;
  [[nodiscard]] const FiguresAnswer& figures() const { return figures_; }
  /// The proven bound with the gap of the tracks as they lie; empty where none was proven, or where
  /// the tracks do not answer the request (too few, or outside a limit), so that the bound says
  /// nothing about them.
  [[nodiscard]] std::optional<Certificate> certificate() const;
  /// Whether the newest figures are all there, chances included, as far as the tracks can be
  /// assessed; while a track moves, its own.
  [[nodiscard]] bool figures_are_whole() const;
  void take_in_hand(std::size_t n);

  // Changes. A gesture makes one step of everything between its two ends.
  void begin_gesture(const std::string& what);
  void end_gesture();
  [[nodiscard]] bool in_gesture() const { return gesture_.has_value(); }
  void move_track(const Track& to);
  void set_needle(const Needle& needle);
  void set_track_request(const std::string& id);
  void add_track(const Vec3& target_lps_mm);
  void remove_track();

  void make_mark(const MarkRecipe& recipe);
  /// Outlines drawn for a mark in the making; they go once they have become one.
  void add_outline(const Outline& outline);
  void drop_outlines();
  void remove_mark(const std::string& name);
  /// What a hole's mm2 inside a zone weighs, mm.
  void set_zone_weight(const std::string& name, double weight_mm);
  void waive(const std::string& mark, const std::string& by, const std::string& why);
  void take_waiver_back(const std::string& mark);
  void paint(const BrushPath& path);
  void confirm_frame(const BodyFrame& frame, const std::string& by);
  void set_request(const RequestFile& request);

  void undo();
  void redo();
  [[nodiscard]] std::string undo_text() const { return past_.empty() ? "" : past_.back().what; }
  [[nodiscard]] std::string redo_text() const { return future_.empty() ? "" : future_.back().what; }

  // Search.
  void start_search();
  void stop_search();
  [[nodiscard]] const SearchState& search() const { return search_; }
  /// Works out again what the case keeps of a former search, where nothing has been searched for since it was opened.
  void compare_kept();
  /// Whether request, marks, map or limits are no longer those of the proposal: it says nothing about the case then.
  [[nodiscard]] bool search_is_stale() const;
  /// Takes the search's answer (`which` 0), an alternative (1, 2, ...) or, after these, a lesser choice with its
  /// request as the plan. Not where the proposal is stale, or nothing would be taken.
  void adopt(std::size_t which);

  // Approving: statements are appended, and no step back takes them away.
  void approve(const std::string& role, const std::string& by, bool declined,
               const std::string& condition, const std::string& note);

  // Looking.
  [[nodiscard]] const ViewState& view() const { return view_; }
  void set_view(const ViewState& view);
  /// What the person should be told; empties it.
  [[nodiscard]] std::vector<Finding> take_messages();
  [[nodiscard]] bool is_kept() const { return kept_ && fault_.empty(); }
  [[nodiscard]] const std::string& keep_fault() const { return fault_; }
  void keep_again() { keep(); }
  /// Nothing under way in any thread (the search apart). For tests and pictures.
  [[nodiscard]] bool idle() const;

 private:
  struct Opened;
  void tell(unsigned changed) {
    if (on_change) on_change(changed);
  }
  void tell_person(Level level, const std::string& what);
  [[nodiscard]] static std::shared_ptr<Opened> read_case(
      const std::filesystem::path& root, const std::function<void(const std::string&)>& line);
  void refuse(Refusal refusal, const std::string& text);
  void take_opened(std::shared_ptr<Opened> opened);
  void ask_ground();
  void ask_figures();
  void take_figures(FiguresAnswer answer);
  void take_kept(const Kept& kept);
  void keep();
  void keep_view();
  /// One change of the draft outside a gesture: a step of its own.
  void change(const std::string& what, unsigned also, const std::function<void(Draft&)>& edit);
  /// The tracks are no longer those that the search chose; its bound stays.
  void part_from_search();
  void restore(Draft draft);
  void take_mark(MarkRecord record, std::shared_ptr<const Mask> mask,
                 const std::vector<Finding>& findings);
  struct MapWork;
  void take_stroke(const MapWork& work);
  void take_map(const MapWork& work);
  /// Works the difference between two lists of strokes into the map.
  void redo_strokes(const std::vector<std::shared_ptr<const Stroke>>& from,
                    const std::vector<std::shared_ptr<const Stroke>>& to);
  /// Runs what it is given on the owner's thread, if the same case is still open then.
  [[nodiscard]] Post poster() const;

  Post post_;
  std::shared_ptr<std::atomic<std::uint64_t>>
      era_;  ///< grows with every opening; 0 = the workbench is gone
  Stage stage_ = Stage::nothing;
  Refusal refusal_ = Refusal::none;
  std::string refusal_text_;
  std::vector<std::string> reading_lines_;
  std::filesystem::path root_;

  Draft draft_;
  std::vector<Step> past_, future_;
  std::optional<Step> gesture_;
  std::size_t in_hand_ = 0;
  Volumes volumes_;
  std::shared_ptr<const Volume<std::uint8_t>> corrections_;
  std::shared_ptr<MapWork> map_work_;  ///< the newest map; belongs to the jobs' thread
  std::shared_ptr<const Ground> ground_;
  std::uint64_t ground_asked_ = 0, ground_got_ = 0;
  std::shared_ptr<const BodyViews> body_views_;
  FiguresAnswer figures_;
  std::uint64_t ticket_ = 0;
  bool asked_in_motion_ = false;  ///< the newest figures were asked for while a track moved
  ViewState view_;
  std::vector<Finding> messages_;
  bool kept_ = true;
  int map_jobs_ = 0;  ///< corrections that are being worked in
  std::string fault_;
  SearchState search_;
  std::shared_ptr<std::atomic<bool>> stop_search_;
  std::thread search_thread_;

  std::unique_ptr<Keeper> keeper_;
  std::unique_ptr<ViewKeeper> view_keeper_;  ///< null where views are not kept
  struct GroundRequest {
    std::uint64_t number = 0;
    Draft draft;
    Volumes volumes;
  };
  std::unique_ptr<LatestWorker<GroundRequest>> ground_worker_;
  std::unique_ptr<FigureService> service_;
  JobQueue jobs_;
};

/// Now, UTC, ISO 8601; SOURCE_DATE_EPOCH holds it still.
[[nodiscard]] std::string utc_now();

}  // namespace leastharm
