#pragma once

#include <iosfwd>
#include <string>
#include <vector>

namespace leastharm {

/// Runs one command as a shell would: `arguments` without the program's name. Answers go to `out`, progress and messages
/// to `err`. Returns the exit status: 0 done, 1 internal fault, 2 bad input or usage, 3 no admissible answer,
/// 4 a check failed. Never throws.
int run_command_line(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err);

/// "0.1.0", as the build has it.
[[nodiscard]] const char* software_version();

}  // namespace leastharm
