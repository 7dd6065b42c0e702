#pragma once

#include <stdexcept>
#include <string>

namespace leastharm {

/// Input that a person can mend: a file, an option, a value. The message says what, where and how to mend it,
/// in one or two lines. Thrown before anything is changed; the command line turns it into exit status 2.
class BadInput : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// Sound input for which no admissible answer exists. The message names the constraint that leaves none, and by
/// how much. The command line turns it into exit status 3.
class NoAnswer : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

}  // namespace leastharm
