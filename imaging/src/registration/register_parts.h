#pragma once

#include "fit.h"

namespace leastharm::registration_detail {

/// Both scans on the finest level used.
struct Levels {
  explicit Levels(const RegistrationInput& input);
  double spacing_mm;
  PlannedObject planned;
  Level day;
};

/// Fills in everything that HU say about a motion, whichever way it was found.
void measure_fit(const RegistrationInput& input, const Levels& levels, const Fit& fit, Registration& answer);

}  // namespace leastharm::registration_detail
