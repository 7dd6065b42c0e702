#pragma once

#include "human.h"

namespace leastharm::phantom {

/// Breaks a body across at level z along a rough face, and carries the upper piece away. The turn is about the
/// break's middle; then the piece sinks or rises until it rests at the lower one's level.
void break_apart(Human& human, double z, const Move& carry, std::uint64_t seed);

/// Takes away all that lies in a rough ellipsoid.
void lose(Human& human, const Vec3& centre, const Vec3& radii, std::uint64_t seed);

}  // namespace leastharm::phantom
