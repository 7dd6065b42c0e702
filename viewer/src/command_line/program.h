#pragma once

#include <functional>
#include <string>
#include <vector>

#include "commands.h"

namespace leastharm {

/// Commands that take long to load: they bring the renderer, the writer of DICOM, the maker of invented bodies.
struct HeavyCommand {
  const char* name;
  const char* what;
};
inline constexpr HeavyCommand kDemo{"demo", "Run the whole chain on an invented body"};
inline constexpr HeavyCommand kExport{"export", "Write materials, marks or tracks in an open format"};
inline constexpr HeavyCommand kView{"view", "Open the window, or save a picture of it"};

using AddCommands = std::function<void(CLI::App& program, const Console& console)>;

/// Runs one command: of those that are quickly loaded, or of those that `add_more` adds. See run_command_line.
int run_program(const std::vector<std::string>& arguments, const Console& console, const AddCommands& add_more);

}  // namespace leastharm
