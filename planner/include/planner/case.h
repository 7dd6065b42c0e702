#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "imaging/body_frame.h"
#include "imaging/intake.h"
#include "imaging/segmentation.h"
#include "planner/assess.h"
#include "planner/body.h"
#include "planner/propose.h"
#include "planner/records.h"
#include "planner/request.h"

namespace leastharm {

/// Value of a voxel of corrections.nrrd where nobody corrected anything.
inline constexpr std::uint8_t kNotCorrected = 255;

inline constexpr int kCaseSchema = 1;

/// Which CT a case is about: where it lay, and what it is whatever its place.
struct CtReference {
  std::string path;           ///< relative to the case folder
  std::string series_uid, frame_of_reference_uid, sha256;
  std::map<std::string, std::string> facts;   ///< allow-listed acquisition facts
  Grid grid;
  bool correct_air = false;   ///< HU shifted at intake so that room air reads -1000
  double air_check_hu = 0;    ///< what room air reads; NaN (null in the file) where none was found
  double noise_hu = 0;
  std::vector<Finding> findings;
};

/// A mark as the case keeps it; its voxels lie in marks/FILE.
struct MarkRecord {
  std::string name;
  MarkKind kind = MarkKind::cavity;
  double weight_mm = 0;
  nlohmann::json made_by;     ///< {"ball": [x, y, z, r]}, {"connected": [x, y, z]}, {"material": "..."}, {"mask": sha}, {"contours": n}, {"automatic": true}
  std::string file, sha256;
  double volume_mm3 = 0;
};

/// A named person lets needles come near a dense object. Bound to its voxels: another object of the same name stays
/// protected.
struct Waiver {
  std::string mark, mark_sha256, by, why, at;
};

/// A recorded statement, not a legal signature.
struct Approval {
  std::string role, by, at, decision;         ///< decision: "approved" or "declined"
  std::string condition, note;
  std::string plan_sha256;
  std::map<std::string, std::string> parts;   ///< hash of each bound part when it was given
  std::string voided;                         ///< why it no longer counts although no hash changed; empty = it may count
};

/// A set of tracks with what was known when the search ended.
struct PlannedTracks {
  std::vector<Track> tracks;
  std::optional<Certificate> certificate;
  std::string stopped;                        ///< "gap", "nodes", "time"; empty where the tracks were set by hand
  std::optional<Firmness> firmness;
  std::vector<Blocking> blocking;
};

/// An alternative as the case keeps it; its figures are worked out anew when they are wanted.
struct AlternativeTracks {
  std::string id, best_in, in_place_of;
  std::vector<Track> tracks;                  ///< what enters the plan by `adopt`
};

/// A lesser choice as the case keeps it.
struct PricedTracks {
  LesserChoice choice = LesserChoice::nothing;
  bool found = true;
  std::vector<Track> tracks;
};

/// A printout and the plan that it shows.
struct Printout {
  std::string file, sha256, plan_sha256;      ///< file: relative to the case folder
};

/// Everything in case.json. One object, its CT, marks, plan, approvals and records.
struct CaseFile {
  std::string object_id;
  CtReference ct;
  std::string materials_sha256, confidence_sha256;
  PerMaterial<double> volume_mm3{};
  std::vector<Finding> map_findings;
  BodyFrame proposed_frame;
  std::optional<BodyFrame> frame;             ///< confirmed
  std::string frame_by, frame_at;
  std::vector<MarkRecord> marks;
  std::vector<Waiver> waivers;
  std::optional<RequestFile> request;
  PlannedTracks plan;
  std::vector<AlternativeTracks> alternatives;
  std::vector<PricedTracks> prices;           ///< of the lesser choices; empty where the tracks were set by hand
  int plan_version = 0;                       ///< counts the plan's states; `CaseFolder::save` keeps it
  std::string last_plan_sha256;
  std::vector<Approval> approvals;
  std::vector<Printout> printouts;
  std::vector<Record> records;                ///< transfers, cores, uses: what happened after planning
};

[[nodiscard]] nlohmann::json to_json(const CtReference& ct);
/// Throws BadInput naming the key's path, which begins with `path`, where a key is missing or not what it must be.
[[nodiscard]] CtReference parse_ct_reference(const nlohmann::json& json, const std::string& path);
[[nodiscard]] nlohmann::json to_json(const CaseFile& file);
/// Throws BadInput where the schema is missing, or newer than this program knows.
void check_case_schema(const nlohmann::json& json);
/// Throws BadInput as `check_case_schema`, and naming the key's path where a key is missing or not what it must be.
[[nodiscard]] CaseFile parse_case_file(const nlohmann::json& json);

/// Takes the alternatives and the lesser choices of a proposal into the case, in place of the former ones.
void keep_choices(CaseFile& file, const Proposal& proposal);
/// The kept alternatives, each as the plan with it (beside the plan, where the track that it replaces has gone).
[[nodiscard]] std::vector<Alternative> alternatives_of(const CaseFile& file, const Body& body);
/// The kept lesser choices.
[[nodiscard]] std::vector<Price> prices_of(const CaseFile& file, const Body& body);

/// Hash of every part that an approval binds, by name: "CT", "materials", "marks", "frame", "request", "weights",
/// "needles", "limits", "tracks", "waivers".
[[nodiscard]] std::map<std::string, std::string> plan_parts(const CaseFile& file);
/// One hash over all of them: the plan's identity as printed.
[[nodiscard]] std::string plan_sha256(const CaseFile& file);

/// "v3-1a2b3c4d": the plan's version and the head of its hash, as people quote it.
[[nodiscard]] std::string plan_label(const CaseFile& file);

/// An approval counts while every part it bound is unchanged.
[[nodiscard]] std::vector<std::string> changed_since(const Approval& approval, const CaseFile& file);

/// A case folder held open by one program: a second one gets BadInput. Every write is whole or not at all, and the
/// former state goes to history/.
class CaseFolder {
 public:
  /// Opens an existing case. Throws BadInput where there is none, it is damaged, of a newer schema, or open elsewhere.
  [[nodiscard]] static CaseFolder open(const std::filesystem::path& root);
  /// Opens one, or begins an empty one; where that is never saved, it leaves nothing behind.
  [[nodiscard]] static CaseFolder open_or_create(const std::filesystem::path& root);
  CaseFolder(CaseFolder&&) noexcept;
  CaseFolder& operator=(CaseFolder&&) noexcept;
  ~CaseFolder();

  [[nodiscard]] const std::filesystem::path& root() const { return root_; }
  [[nodiscard]] bool is_new() const { return is_new_; }
  CaseFile file;

  /// Writes case.json (and keeps the former one in history/).
  void save();
  /// The marks that bear on the plan: without those that were waived.
  [[nodiscard]] std::vector<Mark> standing_marks() const;

  /// The CT that the case refers to: read from its place and held against its hash. Throws BadInput where it is gone or
  /// altered.
  [[nodiscard]] CtVolume read_ct() const;
  [[nodiscard]] Volume<std::uint8_t> read_materials() const;
  [[nodiscard]] Volume<std::uint8_t> read_confidence() const;
  /// Writes the maps and takes their hashes into `file`; they take the old ones' place in `save`.
  void write_map(const Volume<std::uint8_t>& materials, const Volume<std::uint8_t>& confidence);
  /// Adds or replaces a mark; true where it replaced one.
  bool put_mark(MarkRecord record, const Mask& mask);
  void remove_mark(const std::string& name);
  /// Protects every dense piece of the map above 5 mm3 as `dense-1`, `dense-2`, ... in place of the former ones.
  /// A waiver stays with its own object, by its voxels; the names of those that fell away are returned.
  std::vector<std::string> protect_dense(const Volume<std::uint8_t>& materials);
  [[nodiscard]] Mask read_mark(const MarkRecord& record) const;

 private:
  struct Lock;
  CaseFolder(std::filesystem::path root, std::unique_ptr<Lock> lock);
  std::filesystem::path root_;
  std::unique_ptr<Lock> lock_;
  bool is_new_ = false;    ///< there is no case.json yet
  bool is_made_ = false;   ///< the folder was made for it
};

/// Records that a former state in history/ holds and case.json no longer does, in words.
[[nodiscard]] std::vector<std::string> lost_records(const CaseFolder& folder);

/// The volumes of a case, read once, and the body over them.
struct OpenedCase {
  CtVolume ct;
  Volume<std::uint8_t> materials, confidence;
  Body body;                                  ///< its spans point into the volumes above: move the whole, never copy
};
[[nodiscard]] std::unique_ptr<OpenedCase> open_volumes(const CaseFolder& folder);

}  // namespace leastharm
