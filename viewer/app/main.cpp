#include <unistd.h>

#include <filesystem>
#include <iostream>
#include <string>
#include <vector>

#include "imaging/error.h"
#include "viewer/command_line.h"

namespace {

/// Becomes the program beside this one that has every command; returns only by an error.
void become_full(char** arguments) {
  const auto beside = std::filesystem::read_symlink("/proc/self/exe").replace_filename("leastharm-full");
  execv(beside.c_str(), arguments);
  throw leastharm::BadInput(beside.string() + " cannot be run: it has this command, and must lie beside leastharm");
}

}  // namespace

int main(int count, char** arguments) {
  return leastharm::run_light(std::vector<std::string>(arguments + 1, arguments + count), std::cout, std::cerr,
                              [&] { become_full(arguments); });
}
