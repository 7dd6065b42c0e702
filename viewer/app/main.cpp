#include <iostream>
#include <string>
#include <vector>

#include "viewer/command_line.h"

int main(int count, char** arguments) {
  return leastharm::run_command_line(std::vector<std::string>(arguments + 1, arguments + count), std::cout, std::cerr);
}
