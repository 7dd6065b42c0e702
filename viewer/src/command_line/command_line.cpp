#include "viewer/command_line.h"

#include "program.h"

namespace leastharm {

int run_with_window(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err, const OpenWindow& open_window) {
  return run_program(arguments, {out, err}, [&](CLI::App& program, const Console& console) {
    add_export_command(program, console);
    add_demo_command(program, console);
    add_view_command(program, open_window);
  });
}

int run_command_line(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err) {
  return run_with_window(arguments, out, err, {});
}

}  // namespace leastharm
