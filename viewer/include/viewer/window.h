#pragma once

#include <filesystem>
#include <functional>
#include <iosfwd>
#include <optional>
#include <string>
#include <vector>

namespace leastharm {

/// What the window is opened with.
struct WindowOptions {
  std::filesystem::path case_root;  ///< empty: begins with no case
  std::filesystem::path snapshot;   ///< not empty: draws the window, saves this picture, closes
  int width_px = 0, height_px = 0;  ///< 0: as the screen allows; pictures 1280 x 800
  std::string track;                ///< id of the track to show; empty: the one shown last
  std::string
      panel;  ///< drawer to open with: "needle", "marks", "body", "search", "approve", "solid"
  std::string version;  ///< of the program
  /// Runs one command of the program (segment, demo) as a shell would; null: the window offers
  /// neither.
  std::function<int(const std::vector<std::string>&, std::ostream&, std::ostream&)> run_command;
};

/// Opens the window and returns once it is closed (with `snapshot`, once the picture is saved).
/// Throws BadInput where there is no display, the case cannot be drawn for a snapshot, or the
/// picture cannot be written.
void open_window(const WindowOptions& options);

}  // namespace leastharm
