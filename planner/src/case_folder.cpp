#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <fstream>
#include <sstream>

#include "imaging/error.h"
#include "imaging/hash.h"
#include "imaging/volume_file.h"
#include "imaging/whole_file.h"
#include "json_reader.h"
#include "moved_ct.h"
#include "planner/case.h"
#include "planner/density.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

constexpr const char* kCaseFile = "case.json";
constexpr double kLeastDenseMm3 = 5;

/// Named by what it holds, so that a new version never overwrites the one that case.json still speaks of.
std::string mark_file_name(const std::string& name, const std::string& hash) {
  std::string plain = name;
  for (char& c : plain)
    if (std::isalnum(static_cast<unsigned char>(c)) == 0) c = '-';
  return "marks/" + plain.substr(0, 40) + "-" + hash.substr(0, 12) + ".nrrd";
}

/// The maps that a segmentation writes. They stand beside the old ones until case.json, which holds their hashes, is
/// written; then they take their place.
constexpr std::array kMaps{"materials", "confidence"};
fs::path map_path(const fs::path& root, const std::string& map) { return root / (map + ".nrrd"); }
fs::path next_map_path(const fs::path& root, const std::string& map) { return root / ("next-" + map + ".nrrd"); }

/// Carries a change of maps through, or takes back one that never reached case.json.
void settle_maps(const fs::path& root, const CaseFile& file) {
  for (const std::string map : kMaps) {
    const fs::path next = next_map_path(root, map);
    if (!fs::exists(next)) continue;
    const std::string& wanted = map == "materials" ? file.materials_sha256 : file.confidence_sha256;
    std::string found;
    try {
      found = sha256_hex(read_labels(next));
    } catch (const BadInput&) {   // cut off while it was written
    }
    if (found == wanted)
      fs::rename(next, map_path(root, map));
    else
      fs::remove(next);
  }
}

/// Mark files that case.json no longer speaks of.
void remove_stray_marks(const fs::path& root, const CaseFile& file) {
  if (!fs::exists(root / "marks")) return;
  for (const auto& entry : fs::directory_iterator(root / "marks")) {
    const std::string name = "marks/" + entry.path().filename().string();
    if (std::ranges::find(file.marks, name, &MarkRecord::file) == file.marks.end()) fs::remove(entry.path());
  }
}

nlohmann::json read_json(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::stringstream text;
  text << stream.rdbuf();
  if (!stream) throw BadInput("cannot read " + path.string());
  return parse_json_text(text.str(), path.filename().string());
}

CaseFile read_case_file(const fs::path& root) {
  const auto undamaged = [&](const auto& read) {
    try {
      return read();
    } catch (const BadInput& damage) {
      throw BadInput((root / kCaseFile).string() + " is damaged (" + damage.what() + "): put the newest file of " +
                     (root / "history").string() + " in its place");
    }
  };
  const nlohmann::json value = undamaged([&] { return read_json(root / kCaseFile); });
  check_case_schema(value);
  return undamaged([&] { return parse_case_file(value); });
}

std::string history_name(const fs::path& folder) {
  int next = 1;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().filename().string();
    if (name.starts_with("case-") && name.size() > 9)
      next = std::max(next, std::atoi(name.c_str() + 5) + 1);
  }
  std::string number = std::to_string(next);
  return "case-" + std::string(6 - std::min<std::size_t>(6, number.size()), '0') + number + ".json";
}

}  // namespace

/// Holds the case while the program runs; the system lets go of it whatever happens to the program.
struct CaseFolder::Lock {
  int file = -1;
  explicit Lock(const fs::path& root) {
    file = ::open((root / ".lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (file < 0) throw BadInput("cannot write in the case folder " + root.string() + ": check its permissions");
    if (::flock(file, LOCK_EX | LOCK_NB) != 0) {
      ::close(file);
      throw BadInput("the case " + root.string() + " is open in another program: close it there first");
    }
  }
  ~Lock() { ::close(file); }
  Lock(const Lock&) = delete;
  Lock& operator=(const Lock&) = delete;
};

CaseFolder::CaseFolder(fs::path root, std::unique_ptr<Lock> lock)
    : root_(std::move(root)), lock_(std::move(lock)) {}
CaseFolder::CaseFolder(CaseFolder&&) noexcept = default;
CaseFolder& CaseFolder::operator=(CaseFolder&&) noexcept = default;
CaseFolder::~CaseFolder() {
  if (!lock_ || !is_new_) return;
  std::error_code ignored;
  if (is_made_) fs::remove_all(root_, ignored);
  for (const std::string map : kMaps) fs::remove(next_map_path(root_, map), ignored);
  fs::remove(root_ / ".lock", ignored);
}

CaseFolder CaseFolder::open(const fs::path& root) {
  if (!fs::exists(root / kCaseFile))
    throw BadInput("no case in " + root.string() + ": begin one with  leastharm segment CT --case " + root.string());
  CaseFolder folder(root, std::make_unique<Lock>(root));
  folder.file = read_case_file(root);
  settle_maps(root, folder.file);
  find_moved_ct(root, folder.file.ct);
  return folder;
}

CaseFolder CaseFolder::open_or_create(const fs::path& root) {
  if (fs::exists(root / kCaseFile)) return open(root);
  if (fs::exists(root) && !fs::is_directory(root))
    throw BadInput(root.string() + " is a file: name a folder for the case");
  std::error_code error;
  const bool is_made = fs::create_directories(root, error);
  if (error) throw BadInput("cannot make the case folder " + root.string() + ": " + error.message());
  CaseFolder folder(root, std::make_unique<Lock>(root));
  folder.is_new_ = true;
  folder.is_made_ = is_made;
  return folder;
}

void CaseFolder::save() {
  fs::create_directories(root_ / "history");
  const fs::path path = root_ / kCaseFile;
  if (const std::string plan = plan_sha256(file); plan != file.last_plan_sha256) {
    file.last_plan_sha256 = plan;
    ++file.plan_version;
  }
  const std::string text = to_json(file).dump(1) + "\n";
  if (fs::exists(path)) {
    const fs::path kept = root_ / "history" / history_name(root_ / "history");
    write_whole(kept, [&](const fs::path& beside) { fs::copy_file(path, beside); });
  }
  write_whole(path, text);
  is_new_ = false;
  for (const std::string map : kMaps)
    if (fs::exists(next_map_path(root_, map))) fs::rename(next_map_path(root_, map), map_path(root_, map));
  remove_stray_marks(root_, file);
}

CtVolume CaseFolder::read_ct() const {
  const fs::path path = fs::weakly_canonical(root_ / file.ct.path);
  if (!fs::exists(path))
    throw BadInput("the CT is no longer at " + path.string() + ": put it back, or lay it beside the case folder, where it is found again by its hash");
  CtVolume ct = leastharm::read_ct(path, {.series_uid = file.ct.series_uid, .allow_gaps = true, .correct_air = file.ct.correct_air});
  if (ct.sha256 != file.ct.sha256)
    throw BadInput("the CT at " + path.string() +
                   " is not the one this case was made from (its hash differs): put the original back");
  return ct;
}

Volume<std::uint8_t> CaseFolder::read_materials() const { return read_labels(map_path(root_, "materials")); }
Volume<std::uint8_t> CaseFolder::read_confidence() const { return read_labels(map_path(root_, "confidence")); }

void CaseFolder::write_map(const Volume<std::uint8_t>& materials, const Volume<std::uint8_t>& confidence) {
  write_labels(materials, next_map_path(root_, "materials"));
  write_labels(confidence, next_map_path(root_, "confidence"));
  file.materials_sha256 = sha256_hex(materials);
  file.confidence_sha256 = sha256_hex(confidence);
}

bool CaseFolder::put_mark(MarkRecord record, const Mask& mask) {
  fs::create_directories(root_ / "marks");
  const Volume<std::uint8_t> box = box_from_mask(mask);
  record.sha256 = sha256_hex(box);
  record.file = mark_file_name(record.name, record.sha256);
  record.volume_mm3 = mask.volume_mm3();
  write_labels(box, root_ / record.file);
  const auto former = std::ranges::find(file.marks, record.name, &MarkRecord::name);
  const bool replaced = former != file.marks.end();
  if (replaced)
    *former = std::move(record);
  else
    file.marks.push_back(std::move(record));
  return replaced;
}

void CaseFolder::remove_mark(const std::string& name) {
  std::erase_if(file.marks, [&](const MarkRecord& m) { return m.name == name; });
}

Mask CaseFolder::read_mark(const MarkRecord& record) const {
  const Volume<std::uint8_t> box = read_labels(root_ / record.file);
  if (sha256_hex(box) != record.sha256)
    throw BadInput("the mark \"" + record.name + "\" (" + record.file + ") was changed outside the program: set it again");
  return mask_from_box(box, file.ct.grid);
}

std::vector<std::string> CaseFolder::protect_dense(const Volume<std::uint8_t>& materials) {
  std::erase_if(file.marks, [](const MarkRecord& m) { return m.made_by.contains("automatic"); });
  const std::vector<Mask> pieces = material_pieces(materials, Material::dense, kLeastDenseMm3);
  for (std::size_t n = 0; n < pieces.size(); ++n)
    put_mark({.name = "dense-" + std::to_string(n + 1),
              .kind = MarkKind::keep_out,
              .made_by = {{"automatic", true}}},
             pieces[n]);
  std::vector<std::string> fallen;
  std::erase_if(file.waivers, [&](Waiver& waiver) {
    const auto same = std::ranges::find(file.marks, waiver.mark_sha256, &MarkRecord::sha256);
    if (same != file.marks.end()) waiver.mark = same->name;
    else fallen.push_back(waiver.mark);
    return same == file.marks.end();
  });
  return fallen;
}

std::vector<Mark> CaseFolder::standing_marks() const {
  std::vector<Mark> marks;
  for (const MarkRecord& record : file.marks) {
    const bool waived = std::ranges::any_of(file.waivers, [&](const Waiver& w) {
      return w.mark == record.name && w.mark_sha256 == record.sha256;
    });
    if (!waived)
      marks.push_back({record.name, record.kind, record.weight_mm, record.made_by.contains("automatic"),
                       read_mark(record)});
  }
  return marks;
}

std::vector<std::string> lost_records(const CaseFolder& folder) {
  std::vector<std::string> lost;
  if (!fs::exists(folder.root() / "history")) return lost;
  for (const auto& entry : fs::directory_iterator(folder.root() / "history")) {
    if (entry.path().extension() != ".json") continue;
    try {
      const nlohmann::json former = read_json(entry.path()).value("records", nlohmann::json::array());
      for (std::size_t n = 0; n < former.size(); ++n)
        if (n >= folder.file.records.size() || folder.file.records[n].sha256 != former[n].at("sha256").get<std::string>()) {
          lost.push_back("record " + std::to_string(n + 1) + " of history/" + entry.path().filename().string() +
                         " is missing from case.json, or differs");
          break;
        }
    } catch (const std::exception&) {   // no JSON, or not of a case
      lost.push_back("history/" + entry.path().filename().string() + " is damaged");
    }
  }
  return lost;
}

namespace {
double tube_kvp_of(const std::string& text) {
  double kvp = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), kvp);
  if (error != std::errc{} || end != text.data() + text.size())
    throw BadInput("case.json: ct.facts.kVp is \"" + text + "\"; it must be the tube voltage in kV, as a number in quotes.");
  return kvp;
}
}  // namespace

std::unique_ptr<OpenedCase> open_volumes(const CaseFolder& folder) {
  auto opened = std::make_unique<OpenedCase>();
  opened->ct = folder.read_ct();
  opened->materials = folder.read_materials();
  opened->confidence = folder.read_confidence();
  if (sha256_hex(opened->materials) != folder.file.materials_sha256 ||
      sha256_hex(opened->confidence) != folder.file.confidence_sha256)
    throw BadInput("materials.nrrd or confidence.nrrd was changed outside the program: give the corrected map to  "
                   "leastharm segment CT --case " + folder.root().string() + " --materials FILE");
  Body& body = opened->body;
  body.grid = opened->ct.hu.grid;
  body.hu = opened->ct.hu.values;
  body.materials = opened->materials.values;
  body.confidence = opened->confidence.values;
  body.marks = folder.standing_marks();
  body.frame = folder.file.frame;
  body.scan.noise_hu = folder.file.ct.noise_hu;
  const auto& facts = folder.file.ct.facts;
  if (const auto kvp = facts.find("kVp"); kvp != facts.end())
    body.scan.effective_energy_kev = effective_energy_kev(tube_kvp_of(kvp->second));
  return opened;
}

}  // namespace leastharm
