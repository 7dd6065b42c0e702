#pragma once

#include <functional>
#include <iosfwd>
#include <string>
#include <vector>

namespace leastharm {

struct WindowOptions;

/// Opens the window and returns once it is closed; throws BadInput where it cannot.
using OpenWindow = std::function<void(const WindowOptions&)>;

/// Runs one command as a shell would: `arguments` without the program's name. Answers go to `out`, progress and messages
/// to `err`. Returns the exit status: 0 done, 1 internal fault, 2 bad input or usage, 3 no admissible answer,
/// 4 a check failed. Never throws. There is no window: `view` is refused.
int run_command_line(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err);

/// The same, with what `view` does with its options.
int run_with_window(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err, const OpenWindow& open_window);

/// The same without the commands that take long to load (kDemo, kExport, kView in program.h): for those, `hand_over` is called. It is
/// to become a program that has them, and throws BadInput where it cannot.
int run_light(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err, const std::function<void()>& hand_over);

/// "0.1.0", as the build has it.
[[nodiscard]] const char* software_version();

}  // namespace leastharm
