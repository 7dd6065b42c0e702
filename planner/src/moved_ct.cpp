#include "moved_ct.h"

#include <algorithm>

#include "imaging/error.h"
#include "imaging/intake.h"

namespace leastharm {
namespace fs = std::filesystem;
namespace {

constexpr int kMostEntries = 20000;  // a home folder is not searched through

bool is_volume_file(const fs::path& path) {
  const std::string name = path.filename().string();
  for (const char* ending : {".nrrd", ".nhdr", ".nii", ".nii.gz", ".mha", ".mhd"})
    if (name.ends_with(ending)) return true;
  return false;
}

/// What may hold a CT: the folders beside the case, and every volume file below them. Empty where
/// there is too much.
std::vector<fs::path> places_around(const fs::path& folder, const fs::path& root) {
  std::vector<fs::path> places;
  std::error_code error;
  int entries = 0;
  for (fs::recursive_directory_iterator
           at(folder, fs::directory_options::skip_permission_denied, error),
       end;
       at != end; at.increment(error)) {
    if (error || ++entries > kMostEntries) return {};
    if (at->path() == root)
      at.disable_recursion_pending();
    else if (at->is_regular_file(error) ? is_volume_file(at->path())
                                        : at->is_directory(error) && at.depth() == 0)
      places.push_back(at->path());
  }
  std::ranges::sort(places);
  return places;
}

/// Takes the place of the CT that `ct` speaks of, if it lies there.
bool take_place(const fs::path& path, const fs::path& root, CtReference& ct) {
  try {
    for (const Series& s : inspect(path).series) {
      if (!s.usable || s.grid.size != ct.grid.size) continue;
      const CtVolume found = read_ct(
          path, {.series_uid = s.uid, .allow_gaps = true, .correct_air = ct.correct_air});
      if (found.sha256 != ct.sha256) continue;
      ct.path = fs::relative(path, root).string();
      ct.series_uid = s.uid;
      return true;
    }
  } catch (const BadInput&) {  // something else lies there
  }
  return false;
}

}  // namespace

void find_moved_ct(const fs::path& case_root, CtReference& ct) {
  const fs::path root = fs::canonical(case_root), around = root.parent_path();
  if (fs::exists(fs::weakly_canonical(root / ct.path))) return;
  for (const fs::path& place : places_around(around, root))
    if (take_place(place, root, ct)) return;
}

}  // namespace leastharm
