#pragma once

#include <sys/resource.h>

namespace leastharm {

/// Long work of the calling thread, and of threads it begins from now on, lets the hand, the pictures and the display
/// server go first. On Linux a nice value belongs to a thread, and 0 names the calling one.
inline void give_way() {
#ifdef __linux__
  setpriority(PRIO_PROCESS, 0, 10);
#endif
}

}  // namespace leastharm
