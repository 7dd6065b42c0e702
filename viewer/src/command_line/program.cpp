#include "program.h"

#include <algorithm>
#include <filesystem>
#include <new>

#include "commands.h"
#include "imaging/error.h"

namespace leastharm {
namespace {

std::vector<std::string> option_names(const CLI::App& command) {
  std::vector<std::string> names;
  for (const CLI::Option* option : command.get_options())
    for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
  return names;
}

std::vector<std::string> command_names(const CLI::App& program) {
  std::vector<std::string> names;
  for (const CLI::App* command : program.get_subcommands({})) names.push_back(command->get_name());
  return names;
}

std::string did_you_mean(const std::string& word, const std::vector<std::string>& words) {
  const std::string near = nearest_word(word, words);
  return near.empty() ? "" : "; did you mean " + near + "?";
}

/// Unknown names first, with the nearest known one: CLI11 itself only says that something was left over.
void check_names(const CLI::App& program, const std::vector<std::string>& arguments) {
  if (arguments.empty() || arguments[0].starts_with("-")) return;
  const auto commands = command_names(program);
  if (std::ranges::find(commands, arguments[0]) == commands.end())
    throw BadInput("unknown command \"" + arguments[0] + "\"" + did_you_mean(arguments[0], commands) +
                   "  (leastharm --help lists them)");
  const CLI::App& command = *program.get_subcommand(arguments[0]);
  if (command.get_allow_extras()) return;
  const auto options = option_names(command);
  for (std::size_t n = 1; n < arguments.size(); ++n) {
    const std::string name = arguments[n].substr(0, arguments[n].find('='));
    if (name.starts_with("--") && std::ranges::find(options, name) == options.end())
      throw BadInput("unknown option " + name + " of " + arguments[0] + did_you_mean(name, options));
  }
}

/// Names, reasons and paths go into the case, which is JSON and so UTF-8.
void check_text(const std::vector<std::string>& arguments) {
  for (const std::string& argument : arguments) {
    try {
      (void)nlohmann::json(argument).dump();
    } catch (const nlohmann::json::type_error&) {
      throw BadInput("an argument is not written in UTF-8: " + nlohmann::json(argument).dump(-1, ' ', true, nlohmann::json::error_handler_t::replace) +
                     "; type or rename it in UTF-8");
    }
  }
}

int run(const std::vector<std::string>& arguments, const Console& console, const AddCommands& add_more) {
  check_text(arguments);
  CLI::App program{
      "Plans how to take a few hundredths of a gram from a mummified body under CT with the least harm.\n"
      "A planning aid: licensed people and local rules decide.",
      "leastharm"};
  program.set_version_flag("--version", software_version());
  program.require_subcommand(1);
  add_intake_commands(program, console);
  add_mark_commands(program, console);
  add_plan_commands(program, console);
  add_paper_commands(program, console);
  add_transfer_command(program, console);
  add_record_command(program, console);
  add_sample_commands(program, console);
  add_more(program, console);
  check_names(program, arguments);
  try {
    program.parse(std::vector<std::string>(arguments.rbegin(), arguments.rend()));
  } catch (const CLI::Success& asked) {   // --help, --version
    return program.exit(asked, console.out, console.err);
  } catch (const CLI::ParseError& usage) {
    throw BadInput(std::string(usage.what()) + "  (leastharm " + (arguments.empty() ? "" : arguments[0] + " ") +
                   "--help shows the usage)");
  }
  return 0;
}

}  // namespace

int run_program(const std::vector<std::string>& arguments, const Console& console, const AddCommands& add_more) {
  std::ostream& err = console.err;
  try {
    return run(arguments, console, add_more);
  } catch (const BadInput& fault) {
    err << "leastharm: " << fault.what() << "\n";
    return 2;
  } catch (const NoAnswer& fault) {
    err << "leastharm: " << fault.what() << "\n";
    return 3;
  } catch (const CheckFailed& fault) {
    err << "leastharm: " << fault.what() << "\n";
    return 4;
  } catch (const std::filesystem::filesystem_error& fault) {   // a name too long, a full disk, no permission
    err << "leastharm: " << fault.path1().string().substr(0, 200) << ": " << fault.code().message() << "\n";
    return 2;
  } catch (const std::bad_alloc&) {
    err << "leastharm: not enough memory for this volume: close other programs, or crop the CT\n";
    return 2;
  } catch (const std::exception& fault) {
    err << "leastharm: internal fault (" << fault.what() << "). Please report it with the command line and version "
        << software_version() << "; the case was left as it was.\n";
    return 1;
  }
}

}  // namespace leastharm
