#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "imaging/grid.h"
#include "planner/needle.h"

namespace leastharm {

/// One entry of what happened after the plan was made. Entries are only ever appended; each carries
/// the hash of the one before it, so that none can be altered or taken out without showing. A wrong
/// entry is put right by a later one that names it.
struct Record {
  int number = 0;               ///< 1, 2, ...
  std::string kind;             ///< "transfer", "needle", "core" (taken or aborted), "use", "begun", "replanned"
  std::string at;               ///< UTC, ISO 8601: when it was written down
  nlohmann::json what;          ///< keys carry units; "corrects": number of the entry that this one
                                ///< replaces, with "why"
  std::string previous_sha256;  ///< empty for the first
  std::string sha256;           ///< of all of the above
};

[[nodiscard]] nlohmann::json to_json(const Record& record);
/// Throws BadInput naming the key's path, which begins with `path`.
[[nodiscard]] Record parse_record(const nlohmann::json& json, const std::string& path);

/// Numbers, chains and appends.
const Record& append_record(std::vector<Record>& records, std::string kind, nlohmann::json what,
                            std::string at);

struct Person {
  std::string name, role;
};

/// What a person says about one attempt: a core taken, or an aborted one.
struct Taken {
  bool aborted = false;
  std::string reason;                            ///< why it was aborted
  std::string sample;                            ///< id; empty where aborted
  std::optional<Vec3> entry_lps_mm, tip_lps_mm;  ///< both or neither
  std::optional<Needle> needle;                  ///< empty: the planned one
  double gross_mg = 0, tare_mg = 0, net_mg = 0;
  std::string container, custodian;
  std::string taken_at;  ///< ISO 8601, as the person wrote it
  std::vector<Person> persons;
  std::string note;
  std::string frame_of_reference_uid;  ///< of the CT that the positions belong to; may be empty
};

/// A file as planner/schema/taken.json describes it. Throws BadInput naming the key: unknown keys,
/// masses below 0, net that is not gross less tare (within 0.05 mg), an aborted core without a
/// reason, a taken one without id, masses, container, custodian, time or persons.
[[nodiscard]] Taken parse_taken(const nlohmann::json& json);
[[nodiscard]] nlohmann::json to_json(const Taken& taken);

/// Something used up of a sample.
struct Use {
  int record = 0;
  double mg = 0;
  std::string purpose, by, at;
};

/// An attempt as it stands after all corrections, with what became of it.
struct Core {
  int record = 0;  ///< the entry that began it
  std::string track, plan, at;
  Taken taken;
  nlohmann::json held_against_plan, crossed, damage;  ///< null where no position was recorded
  std::vector<Use> uses;
  int corrections = 0;

  [[nodiscard]] double used_mg() const;
  [[nodiscard]] double left_mg() const { return taken.net_mg - used_mg(); }
};

/// All attempts in the order in which they were recorded.
[[nodiscard]] std::vector<Core> cores_of(const std::vector<Record>& records);

/// Appends a core, a correction of one (`corrects` > 0), or a use. Throws BadInput and leaves the
/// records as they are where a sample id occurs twice, the sample is not known, more is used than
/// is left, or `corrects` names no such entry.
const Record& record_core(std::vector<Record>& records, nlohmann::json what, const std::string& at);
const Record& record_use(std::vector<Record>& records, nlohmann::json what, const std::string& at);

/// What does not hold: altered, missing or unordered entries, overdrawn samples, an id twice. Empty
/// where all holds.
[[nodiscard]] std::vector<std::string> record_faults(const std::vector<Record>& records);

/// One row a sample or aborted core; masses in mg.
[[nodiscard]] std::string samples_csv(const std::vector<Core>& cores, const std::string& object_id);
/// The same as linked data: CIDOC CRM and its science extension CRMsci, JSON-LD 1.1 with its
/// context inside.
[[nodiscard]] nlohmann::json samples_json_ld(const std::vector<Core>& cores,
                                             const std::string& object_id);

}  // namespace leastharm
