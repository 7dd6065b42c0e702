#include "program.h"
#include "viewer/command_line.h"

namespace leastharm {

int run_light(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err, const std::function<void()>& hand_over) {
  return run_program(arguments, {out, err}, [&](CLI::App& program, const Console&) {
    for (const HeavyCommand& heavy : {kExport, kDemo, kView}) {
      CLI::App* command = program.add_subcommand(heavy.name, heavy.what);
      command->set_help_flag();
      command->allow_extras();
      command->callback(hand_over);
    }
  });
}

}  // namespace leastharm
