#include "planner/records.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "json_reader.h"
#include "planner/text.h"

namespace leastharm {
namespace {

using nlohmann::json;

constexpr double kLeastDifference_mg = 1e-6;  // sums of decimals are not exact

std::string hash_of(const Record& r) {
  const json all{{"number", r.number},
                 {"kind", r.kind},
                 {"at", r.at},
                 {"what", r.what},
                 {"previous_sha256", r.previous_sha256}};
  return sha256_hex(std::string_view(all.dump()));
}

Record next_record(const std::vector<Record>& records, std::string kind, json what,
                   std::string at) {
  Record next{.number = static_cast<int>(records.size()) + 1,
              .kind = std::move(kind),
              .at = std::move(at),
              .what = std::move(what)};
  if (!records.empty()) next.previous_sha256 = records.back().sha256;
  next.sha256 = hash_of(next);
  return next;
}

Core* core_begun_by(std::vector<Core>& cores, int record) {
  const auto found = std::ranges::find(cores, record, &Core::record);
  return found == cores.end() ? nullptr : &*found;
}

Core* core_with_sample(std::vector<Core>& cores, const std::string& sample) {
  const auto found = std::ranges::find(cores, sample, [](const Core& c) { return c.taken.sample; });
  return sample.empty() || found == cores.end() ? nullptr : &*found;
}

void state_core(Core& core, const Record& r) {
  core.track = r.what.at("track");
  core.plan = r.what.at("plan");
  core.at = r.at;
  core.taken = parse_taken(r.what.at("taken"));
  core.held_against_plan = r.what.at("held_against_plan");
  core.crossed = r.what.at("crossed");
  core.damage = r.what.at("damage");
}

[[noreturn]] void refuse_correction(const Record& r, int corrected) {
  throw BadInput("entry " + std::to_string(corrected) + " of the records is no " + r.kind +
                 " that could be corrected; give the number that was printed when it was recorded");
}

void reckon_core(std::vector<Core>& cores, const Record& r) {
  if (const int corrected = r.what.value("corrects", 0); corrected != 0) {
    Core* core = core_begun_by(cores, corrected);
    if (core == nullptr) refuse_correction(r, corrected);
    state_core(*core, r);
    ++core->corrections;
  } else {
    cores.push_back({.record = r.number});
    state_core(cores.back(), r);
  }
}

void reckon_use(std::vector<Core>& cores, const Record& r) {
  const std::string sample = r.what.at("sample");
  Core* core = core_with_sample(cores, sample);
  if (core == nullptr) {
    std::vector<std::string> known;
    for (const Core& c : cores)
      if (!c.taken.aborted) known.push_back(c.taken.sample);
    throw BadInput("no sample \"" + sample +
                   "\" is recorded; recorded: " + (known.empty() ? "none" : joined(known)));
  }
  const Use use{r.number, r.what.at("mg"), r.what.at("for"), r.what.at("by"), r.at};
  if (const int corrected = r.what.value("corrects", 0); corrected != 0) {
    const auto former = std::ranges::find(core->uses, corrected, &Use::record);
    if (former == core->uses.end()) refuse_correction(r, corrected);
    *former = use;
    former->record = corrected;  // what a further correction would name
  } else {
    core->uses.push_back(use);
  }
}

void check_cores(const std::vector<Core>& cores) {
  std::set<std::string> ids;
  for (const Core& core : cores) {
    if (core.taken.aborted && !core.uses.empty())
      throw BadInput("the core of track " + core.track +
                     " was used from: it cannot be recorded as aborted");
    if (core.taken.aborted) continue;
    if (!ids.insert(core.taken.sample).second)
      throw BadInput("the sample id \"" + core.taken.sample +
                     "\" is taken already: every sample needs an id of its own");
    if (core.left_mg() < -kLeastDifference_mg)
      throw BadInput("sample \"" + core.taken.sample + "\" holds " + brief(core.taken.net_mg) +
                     " mg; " + brief(core.used_mg()) + " mg would be used, " +
                     fixed(-core.left_mg(), 2) + " mg more than there is");
  }
}

const Record& append_checked(std::vector<Record>& records, Record next) {
  std::vector<Record> with = records;
  with.push_back(std::move(next));
  check_cores(cores_of(with));
  records = std::move(with);
  return records.back();
}

}  // namespace

json to_json(const Record& r) {
  return {{"number", r.number},
          {"kind", r.kind},
          {"at", r.at},
          {"what", r.what},
          {"previous_sha256", r.previous_sha256},
          {"sha256", r.sha256}};
}

Record parse_record(const json& value, const std::string& path) {
  const JsonPart j(value, path);
  return {j.at("number").whole(1), j.at("kind").text(), j.at("at").text(), j.at("what").raw(), j.at("previous_sha256").text(), j.at("sha256").text()};
}

const Record& append_record(std::vector<Record>& records, std::string kind, json what,
                            std::string at) {
  records.push_back(next_record(records, std::move(kind), std::move(what), std::move(at)));
  return records.back();
}

double Core::used_mg() const {
  double sum = 0;
  for (const Use& use : uses) sum += use.mg;
  return sum;
}

std::vector<Core> cores_of(const std::vector<Record>& records) {
  std::vector<Core> cores;
  for (const Record& r : records) {
    if (r.kind == "core") reckon_core(cores, r);
    if (r.kind == "use") reckon_use(cores, r);
  }
  return cores;
}

const Record& record_core(std::vector<Record>& records, json what, const std::string& at) {
  return append_checked(records, next_record(records, "core", std::move(what), at));
}

const Record& record_use(std::vector<Record>& records, json what, const std::string& at) {
  const double mg = what.at("mg");
  if (!(mg > 0) || !std::isfinite(mg))
    throw BadInput("--mg " + brief(mg) + ": give the mass used, above 0 mg");
  std::vector<Core> cores = cores_of(records);
  const Core* core = core_with_sample(cores, what.at("sample"));
  if (core != nullptr && !what.contains("corrects") && mg > core->left_mg() + kLeastDifference_mg)
    throw BadInput("sample \"" + core->taken.sample + "\" has " + fixed(core->left_mg(), 2) +
                   " mg left of " + brief(core->taken.net_mg) + " mg; " + brief(mg) +
                   " mg cannot be used. Use less, or take it from another sample");
  return append_checked(records, next_record(records, "use", std::move(what), at));
}

std::vector<std::string> record_faults(const std::vector<Record>& records) {
  std::vector<std::string> faults;
  std::string previous;
  for (std::size_t n = 0; n < records.size(); ++n) {
    const Record& r = records[n];
    const std::string name = "record " + std::to_string(n + 1) + " (" + r.kind + ")";
    if (r.number != static_cast<int>(n) + 1)
      faults.push_back(name + ": its number is " + std::to_string(r.number) +
                       ": an entry was taken out or put in");
    if (r.sha256 != hash_of(r)) faults.push_back(name + ": was altered after it was written");
    if (r.previous_sha256 != previous)
      faults.push_back(name + ": does not follow the entry before it");
    previous = r.sha256;
  }
  try {
    check_cores(cores_of(records));
  } catch (const BadInput& fault) {
    faults.push_back(std::string("samples: ") + fault.what());
  } catch (const json::exception&) {
    faults.push_back("samples: an entry of the records cannot be read");
  }
  return faults;
}

}  // namespace leastharm
