#include "intake_scan.h"

#include <algorithm>
#include <cctype>
#include <optional>
#include <set>

#include "imaging/error.h"
#include "parallel.h"
#include "volume_image.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;

struct FileResult {
  std::optional<FileFrames> content;
  std::string broken;   ///< why a DICOM file cannot be read
};

FileResult read_file(const fs::path& path, IntakeWatch& watch) {
  try {
    FileResult result{read_frames(path), {}};
    if (result.content) watch.looked_into(*result.content);
    else watch.looked_into_other();
    return result;
  } catch (const Unreadable& error) {
    watch.could_not_read(path, error.what());
    return {{}, error.what()};
  }
}

/// Files below a folder, sorted. What may not be entered is passed over and told. Linked folders are not followed,
/// so that no circle is walked.
std::vector<fs::path> files_below(const fs::path& folder, IntakeWatch& watch, std::vector<Finding>& findings) {
  std::vector<fs::path> files, folders{folder};
  while (!folders.empty()) {
    const fs::path here = folders.back();
    folders.pop_back();
    std::error_code error, ignored;
    fs::directory_iterator at(here, error);
    for (; !error && at != fs::directory_iterator(); at.increment(error)) {
      if (at->is_directory(ignored) && !at->is_symlink(ignored)) folders.push_back(at->path());
      else if (at->is_regular_file(ignored)) files.push_back(at->path());
    }
    watch.found(files.size());
    if (error)
      findings.push_back({Level::note, here.string() + " cannot be read (" + error.message() + "); what lies in it is missing"});
  }
  std::sort(files.begin(), files.end());
  return files;
}

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return std::tolower(c); });
  return text;
}

/// A file by a DICOMDIR's name for it; media change the case of letters and add endings.
std::optional<fs::path> find_referenced(const fs::path& folder, const std::string& id) {
  fs::path at = folder;
  for (std::size_t start = 0; start <= id.size();) {
    const auto bar = std::min(id.find('\\', start), id.size());
    const std::string part = lower(id.substr(start, bar - start));
    start = bar + 1;
    std::optional<fs::path> next;
    std::error_code error;
    for (const auto& entry : fs::directory_iterator(at, error))
      if (lower(entry.path().filename().string()) == part) next = entry.path();
    if (!next) return {};
    at = *next;
  }
  return fs::is_regular_file(at) ? std::optional(at) : std::nullopt;
}

/// The files that a DICOMDIR names (PS3.3, Annex F); all files beside it where some of them are not there.
std::vector<fs::path> files_of_dicomdir(const fs::path& path, const DataSet& directory, IntakeWatch& watch,
                                        std::vector<Finding>& findings) {
  const fs::path folder = path.parent_path().empty() ? fs::path(".") : path.parent_path();
  std::set<fs::path> files;
  std::size_t named = 0;
  for (const DataSet& record : directory.items(tag::kDirectoryRecords)) {
    const std::string id = record.text(tag::kReferencedFile);
    if (id.empty()) continue;
    ++named;
    if (const auto file = find_referenced(folder, id)) files.insert(*file);
  }
  if (named > 0 && files.size() == named) return {files.begin(), files.end()};
  findings.push_back({Level::mended, "the DICOMDIR names " + std::to_string(named) + " files, of which " +
                                         std::to_string(named - files.size()) +
                                         " are not there; its folder was scanned instead"});
  return files_below(folder, watch, findings);
}

void add_file(Scan& scan, FileFrames content) {
  for (Frame& frame : content.frames) {
    frame.file = scan.files.size();
    scan.frames.push_back(std::move(frame));
  }
  scan.files.push_back(std::move(content.file));
}

Scan scan_files(const std::vector<fs::path>& paths, IntakeWatch& watch) {
  Scan scan;
  watch.found(paths.size());
  std::vector<FileResult> results(paths.size());
  for_each_item(paths.size(), [&](std::size_t, std::size_t n) { results[n] = read_file(paths[n], watch); });
  int volume_files = 0;
  std::size_t broken = 0, first_broken = 0;
  for (std::size_t n = 0; n < paths.size(); ++n) {
    if (results[n].content && results[n].content->frames.front().set_aside != "a DICOMDIR") {
      add_file(scan, std::move(*results[n].content));
    } else if (!results[n].broken.empty()) {
      if (broken++ == 0) first_broken = n;
    } else {
      ++scan.non_image_files;
      volume_files += is_volume_file_name(paths[n]) ? 1 : 0;
    }
  }
  if (broken > 0)
    scan.findings.push_back({Level::note, (broken == 1 ? "" : std::to_string(broken) + " files cannot be read; the first: ") +
                                              paths[first_broken].string() + " " + results[first_broken].broken +
                                              "; if it belongs to the CT, copy it again"});
  if (volume_files > 0)
    scan.findings.push_back({Level::note, std::to_string(volume_files) +
                                              " volume files (NRRD, NIfTI, MetaImage) lie here too; to use one, give its own path"});
  return scan;
}

/// One file, or those that it names where it is a DICOMDIR.
std::vector<fs::path> files_of(const fs::path& path, IntakeWatch& watch, std::vector<Finding>& findings) {
  try {
    DicomBytes bytes(path);
    const auto header = read_dicom_header(bytes);
    if (!header)
      throw BadInput(path.string() + ": it is neither DICOM nor NRRD, NIfTI or MetaImage; give a CT's folder or file");
    if (header->set.items(tag::kDirectoryRecords).empty()) return {path};
    if (!header->broken.empty())
      findings.push_back({Level::note, "the DICOMDIR " + header->broken});
    return files_of_dicomdir(path, header->set, watch, findings);
  } catch (const Unreadable& failure) {
    throw BadInput(path.string() + " " + failure.what() + "; copy it again");
  }
}

}  // namespace

Scan scan_path(const fs::path& path, IntakeWatch& watch) {
  std::error_code error;
  if (!fs::exists(path, error)) throw BadInput(path.string() + ": there is no such file or folder");
  std::vector<Finding> findings;
  const std::vector<fs::path> files =
      fs::is_directory(path, error) ? files_below(path, watch, findings) : files_of(path, watch, findings);
  Scan scan = scan_files(files, watch);
  scan.findings.insert(scan.findings.begin(), findings.begin(), findings.end());
  return scan;
}

}  // namespace leastharm
