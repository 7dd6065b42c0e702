#include "viewer/command_line.h"

namespace leastharm {

const char* software_version() { return LEASTHARM_VERSION; }

}  // namespace leastharm
