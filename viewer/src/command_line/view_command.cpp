// view: the window, or a picture of it.
#include <charconv>

#include "imaging/error.h"
#include "program.h"
#include "viewer/window.h"

namespace leastharm {
namespace {

struct ViewOptions {
  std::string case_path, snapshot, size, track, panel;
};

constexpr int kLeastPx = 640, kMostPx = 16384;

/// "1280x800" to 1280 and 800.
std::pair<int, int> size_from(const std::string& text) {
  int width = 0, height = 0;
  const char* end = text.data() + text.size();
  const auto first = std::from_chars(text.data(), end, width);
  if (first.ec == std::errc{} && first.ptr != end && *first.ptr == 'x') {
    const auto second = std::from_chars(first.ptr + 1, end, height);
    const auto fits = [](int px) { return px >= kLeastPx && px <= kMostPx; };
    if (second.ec == std::errc{} && second.ptr == end && fits(width) && fits(height))
      return {width, height};
  }
  throw BadInput("--size \"" + text +
                 "\": give WIDTHxHEIGHT in pixels, each from 640 to 16384, for example 1280x800");
}

void view(const ViewOptions& o, const OpenWindow& open_window) {
  if (!open_window)
    throw BadInput(
        "this build has no window: build with the CMake option LEASTHARM_WINDOW=ON (needs Qt 5 and "
        "VTK), or use the other commands");
  WindowOptions options{.case_root = o.case_path,
                        .snapshot = o.snapshot,
                        .track = o.track,
                        .panel = o.panel,
                        .version = software_version(),
                        .run_command = run_command_line};
  if (!o.size.empty()) std::tie(options.width_px, options.height_px) = size_from(o.size);
  if (!o.snapshot.empty() && !o.case_path.empty() && !o.track.empty()) {
    const CaseFolder folder = CaseFolder::open(o.case_path);
    const auto& tracks = folder.file.plan.tracks;
    if (std::ranges::find(tracks, o.track, &Track::id) == tracks.end()) {
      std::string ids;
      for (const Track& t : tracks) ids += (ids.empty() ? "" : ", ") + t.id;
      throw BadInput("--track: the plan has no track \"" + o.track +
                     "\"; it has: " + (ids.empty() ? "none" : ids));
    }
  }
  open_window(options);
}

}  // namespace

void add_view_command(CLI::App& program, const OpenWindow& open_window) {
  auto* command = program.add_subcommand(kView.name, kView.what);
  auto o = std::make_shared<ViewOptions>();
  command->add_option(
      "--case", o->case_path,
      "Case folder; without it the window offers the demo, a CT folder, recent cases");
  command->add_option("--snapshot", o->snapshot, "Draw the window, save this PNG, and close");
  command->add_option("--size", o->size, "Size of the window, WIDTHxHEIGHT in pixels");
  command->add_option("--track", o->track, "Track to show");
  command->add_option("--panel", o->panel,
                      "Panel to open with: needle, marks, body, search, approve or solid");
  command->callback([=] { view(*o, open_window); });
}

}  // namespace leastharm
