// Opening, closing and mending a case; taking steps back.
#include <algorithm>
#include <fstream>
#include <sstream>

#include "directions.h"
#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/intake.h"
#include "imaging/volume_file.h"
#include "imaging/whole_file.h"
#include "window/screen_words.h"
#include "window/workbench.h"
#include "window/workbench_parts.h"
#include "words.h"

namespace leastharm {

namespace fs = std::filesystem;

namespace {

std::string text_of(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream text;
  text << stream.rdbuf();
  return text.str();
}

/// All marks with their voxels, by hash.
std::map<std::string, std::shared_ptr<const Mask>> read_masks(const CaseFolder& folder) {
  std::map<std::string, std::shared_ptr<const Mask>> masks;
  for (const MarkRecord& record : folder.file.marks)
    masks[record.sha256] = std::make_shared<const Mask>(folder.read_mark(record));
  return masks;
}

std::vector<Mark> standing_marks(const Draft& draft) {
  std::vector<Mark> marks;
  for (const MarkRecord& record : draft.file.marks)
    if (const Mask* mask = draft.mask_of(record); mask != nullptr && !is_waived(draft.file, record))
      marks.push_back({record.name, record.kind, record.weight_mm,
                       record.made_by.contains("automatic"), *mask});
  return marks;
}

std::shared_ptr<const BodyViews> views_of_body(const Body& body, const CaseFile& file) {
  const BodyFrame frame = drawing_frame(file);
  const double longest =
      body.grid.spacing_mm
          .cwiseProduct(Vec3(body.grid.size[0], body.grid.size[1], body.grid.size[2]))
          .maxCoeff();
  const double mm_per_px = std::max(0.5, longest / 1500);
  return std::make_shared<const BodyViews>(
      BodyViews{look_at(body, -frame.head, frame.left(), mm_per_px),
                look_at(body, -frame.head, frame.front, mm_per_px)});
}

void check_maps(const Volumes& volumes, const CaseFile& file) {
  if (sha256_hex(*volumes.materials) != file.materials_sha256 ||
      sha256_hex(*volumes.confidence) != file.confidence_sha256)
    throw BadInput(
        "materials.nrrd or confidence.nrrd was changed outside the program: give the corrected map "
        "to  "
        "leastharm segment CT --case DIR --materials FILE");
}

/// The CT is not where the case says: it can be looked for.
class MissingCt : public BadInput {
 public:
  using BadInput::BadInput;
};

std::string size_words(const Grid& grid) {
  return std::to_string(grid.size[0]) + " × " + std::to_string(grid.size[1]) + " × " +
         std::to_string(grid.size[2]) + " voxels of " + number(grid.spacing_mm.x(), 2) + " × " +
         number(grid.spacing_mm.y(), 2) + " × " + mm(grid.spacing_mm.z(), 2);
}

}  // namespace

std::string free_id(const std::vector<Track>& tracks) {
  for (int n = 1;; ++n) {
    const std::string id = "T" + std::to_string(n);
    if (std::ranges::find(tracks, id, &Track::id) == tracks.end()) return id;
  }
}

/// Reads everything that a case is made of; `line` is told what was found, as it is found.
std::shared_ptr<Workbench::Opened> Workbench::read_case(
    const fs::path& root, const std::function<void(const std::string&)>& line) {
  auto opened = std::make_shared<Opened>();
  opened->folder = std::make_unique<CaseFolder>(CaseFolder::open(root));
  const CaseFile& file = opened->folder->file;
  line(say("reading.case", file.object_id, counted(static_cast<int>(file.marks.size()), "mark"),
           counted(static_cast<int>(file.plan.tracks.size()), "track")));
  const fs::path ct_path = fs::weakly_canonical(root / file.ct.path);
  if (!fs::exists(ct_path)) throw MissingCt(say("reading.gone", ct_path.string()));
  auto ct = std::make_shared<CtVolume>(opened->folder->read_ct());
  line(say("reading.ct", size_words(ct->hu.grid)));
  for (const Finding& f : file.ct.findings) line(std::string(name_of(f.level)) + ": " + f.what);
  opened->volumes = {
      ct, std::make_shared<const Volume<std::uint8_t>>(opened->folder->read_materials()),
      std::make_shared<const Volume<std::uint8_t>>(opened->folder->read_confidence())};
  check_maps(opened->volumes, file);
  line(say("reading.maps"));
  if (fs::exists(root / kCorrectionsFile))
    opened->corrections =
        std::make_shared<const Volume<std::uint8_t>>(read_labels(root / kCorrectionsFile));
  opened->draft.file = file;
  opened->draft.bound = file.plan.certificate;
  opened->draft.masks = read_masks(*opened->folder);
  if (fs::exists(root / kOutlinesFile))
    opened->draft.outlines = parse_outlines(text_of(root / kOutlinesFile));
  if (fs::exists(root / kViewFile)) opened->view = parse_view_state(text_of(root / kViewFile));
  opened->ground = make_ground(opened->volumes, standing_marks(opened->draft), file);
  opened->body_views = views_of_body(opened->ground->body, file);
  line(say("reading.body"));
  return opened;
}

void Workbench::open(const fs::path& root) {
  close();
  root_ = root;
  stage_ = Stage::reading;
  tell(kStageChanged);
  jobs_.add([this, root, back = poster()] {
    const auto line = [&](const std::string& text) {
      back([this, text] {
        reading_lines_.push_back(text);
        tell(kStageChanged);
      });
    };
    const auto refused = [&](Refusal refusal, const std::string& text) {
      back([this, refusal, text] { refuse(refusal, text); });
    };
    try {
      const auto opened = read_case(root, line);
      back([this, opened] { take_opened(opened); });
    } catch (const MissingCt& fault) {
      refused(Refusal::missing_ct, fault.what());
    } catch (const BadInput& fault) {
      const bool damaged = std::string(fault.what()).find("is damaged") != std::string::npos;
      refused(damaged ? Refusal::damaged : Refusal::other, fault.what());
    } catch (const std::bad_alloc&) {
      refused(Refusal::other, say("reading.memory"));
    } catch (const std::exception& fault) {
      refused(Refusal::other, fault.what());
    }
  });
}

void Workbench::refuse(Refusal refusal, const std::string& text) {
  stage_ = Stage::refused;
  refusal_ = refusal;
  refusal_text_ = text;
  tell(kStageChanged);
}

void Workbench::take_opened(std::shared_ptr<Opened> opened) {
  draft_ = std::move(opened->draft);
  volumes_ = opened->volumes;
  corrections_ = opened->corrections;
  map_work_ = std::make_shared<MapWork>(MapWork{.volumes = volumes_, .corrections = corrections_});
  ground_ = opened->ground;
  body_views_ = opened->body_views;
  view_ = opened->view;
  if (tracks().empty() && view_.track.empty())  // the line begins in the middle of the body
    view_.depth_mm = half_length_mm(*ground_, drawing_frame(file()).head);
  const auto shown = std::ranges::find(tracks(), view_.track, &Track::id);
  in_hand_ = shown == tracks().end() ? 0 : static_cast<std::size_t>(shown - tracks().begin());
  keeper_ = std::make_unique<Keeper>(
      std::move(*opened->folder), draft_.outlines, [this, back = poster()](Kept kept) {
        back([this, kept = std::move(kept)] { take_kept(kept); });
      });
  if (keeps_view) view_keeper_ = std::make_unique<ViewKeeper>(root_ / kViewFile, view_);
  service_ = std::make_unique<FigureService>([this, back = poster()](FiguresAnswer answer) {
    back([this, answer = std::move(answer)]() mutable { take_figures(std::move(answer)); });
  });
  ground_worker_ = std::make_unique<LatestWorker<GroundRequest>>(
      [this, back = poster(), drawn = drawing_frame(draft_.file)](
          const GroundRequest& request) mutable {
        std::shared_ptr<const Ground> ground =
            make_ground(request.volumes, standing_marks(request.draft), request.draft.file);
        std::shared_ptr<const BodyViews> body_views;
        const BodyFrame frame = drawing_frame(request.draft.file);
        if (frame.head != drawn.head || frame.front != drawn.front)
          body_views = views_of_body(ground->body, request.draft.file);
        drawn = frame;
        back([this, ground, body_views, number = request.number] {
          ground_ = ground;
          if (body_views) body_views_ = body_views;
          ground_got_ = number;
          ask_figures();
          tell(kGroundChanged);
        });
      });
  stage_ = Stage::ready;
  kept_ = true;
  tell(kStageChanged | kGroundChanged | kDraftChanged | kTrackMoved | kViewChanged);
  ask_figures();
}

void Workbench::close() {
  stop_search();
  if (search_thread_.joinable()) search_thread_.join();
  end_gesture();
  if (keeper_ && !kept_) keeper_->keep({draft_, volumes_, corrections_});
  view_keeper_.reset();  // writes the last view
  service_.reset();
  ground_worker_.reset();
  keeper_.reset();  // waits until the last change is written
  ++*era_;          // what is still on its way concerns a case that is gone
  draft_ = {};
  past_.clear();
  future_.clear();
  in_hand_ = 0;
  volumes_ = {};
  corrections_.reset();
  map_work_.reset();
  map_jobs_ = 0;
  ground_.reset();
  ground_asked_ = ground_got_ = 0;
  body_views_.reset();
  figures_ = {};
  view_ = {};
  search_ = {};
  fault_.clear();
  kept_ = true;
  stage_ = Stage::nothing;
  refusal_ = Refusal::none;
  refusal_text_.clear();
  reading_lines_.clear();
  tell(kStageChanged);
}

void Workbench::find_ct(const fs::path& place) {
  const fs::path root = root_;
  stage_ = Stage::reading;
  reading_lines_ = {say("reading.looking", place.string())};
  tell(kStageChanged);
  jobs_.add([this, root, place, back = poster()] {
    std::string fault = say("reading.othercts", place.string());
    try {
      CaseFolder folder = CaseFolder::open(root);
      CtReference& ct = folder.file.ct;
      for (const Series& series : inspect(place).series) {
        if (!series.usable || (series.uid != ct.series_uid && series.uid.rfind("file:", 0) != 0))
          continue;
        const CtVolume found = read_ct(
            place, {.series_uid = series.uid, .allow_gaps = true, .correct_air = ct.correct_air});
        if (found.sha256 != ct.sha256) continue;
        ct.path = fs::relative(fs::canonical(place), fs::canonical(root)).string();
        ct.series_uid = series.uid;
        folder.save();
        fault.clear();
        break;
      }
    } catch (const std::exception& e) {
      fault = e.what();
    }
    back([this, root, fault] {
      if (fault.empty()) return open(root);
      refuse(Refusal::missing_ct, fault);
    });
  });
}

void Workbench::restore_from_history() {
  std::vector<fs::path> states;
  if (fs::exists(root_ / "history"))
    for (const auto& entry : fs::directory_iterator(root_ / "history"))
      if (entry.path().extension() == ".json") states.push_back(entry.path());
  std::ranges::sort(states, std::greater{});
  for (const fs::path& state : states) {
    const std::string text = text_of(state);
    try {
      static_cast<void>(parse_case_file(nlohmann::json::parse(text)));
      fs::rename(root_ / "case.json", root_ / "case.json.damaged");
      write_whole(root_ / "case.json", text);
    } catch (const std::exception&) {  // this one is damaged too
      continue;
    }
    return open(root_);
  }
  refuse(Refusal::other, say("reading.nohistory", (root_ / "history").string()));
}

void Workbench::restore(Draft draft) {
  const auto former = draft_.strokes;
  // Statements stand, whatever is taken back; and the plan's states are counted on.
  draft.file.approvals = draft_.file.approvals;
  draft.file.printouts = draft_.file.printouts;
  draft.file.plan_version = draft_.file.plan_version;
  draft.file.last_plan_sha256 = draft_.file.last_plan_sha256;
  draft_ = std::move(draft);
  const auto shown = std::ranges::find(tracks(), view_.track, &Track::id);
  in_hand_ = shown == tracks().end() ? 0 : static_cast<std::size_t>(shown - tracks().begin());
  figures_.tracks.resize(tracks().size());
  figures_.programme_known = false;
  redo_strokes(former, draft_.strokes);
  keep();
  ask_ground();
  ask_figures();
  tell(kDraftChanged | kTrackMoved);
}

}  // namespace leastharm
