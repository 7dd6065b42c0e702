#include <iostream>
#include <string>
#include <vector>

#include "viewer/command_line.h"
#ifdef LEASTHARM_HAS_WINDOW
#include "viewer/window.h"
#endif

/// Every command.
int main(int count, char** arguments) {
  leastharm::OpenWindow open_window;
#ifdef LEASTHARM_HAS_WINDOW
  open_window = leastharm::open_window;
#endif
  return leastharm::run_with_window(std::vector<std::string>(arguments + 1, arguments + count), std::cout, std::cerr,
                                    open_window);
}
