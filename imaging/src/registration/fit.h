#pragma once

#include <vector>

#include "align.h"

namespace leastharm::registration_detail {

/// The planned object on one level, ready to be held against the day's scan.
struct PlannedObject {
  Level level;
  std::vector<std::uint8_t> object, support, bone;   ///< shares of 255
  std::vector<float> depth_mm;                       ///< below the outer surface; 0 outside the object
};
[[nodiscard]] PlannedObject planned_object(const Volume<std::int16_t>& hu, const Volume<std::uint8_t>& materials,
                                           double spacing_mm, int threads);

/// Distances between matched profiles across the outer surface, and across bone's border.
void measure_distances(const PlannedObject& planned, const Level& day, const Fit& fit, int threads,
                       Registration& answer);

/// How the inside lies against the outside: all of it together as one rigid piece, and ball by ball of 28 mm radius, on a
/// lattice and about the targets. Of a ball's shift only what is sure (95 %) counts.
void measure_inside(const PlannedObject& planned, const Level& day, const Fit& fit, const std::vector<Vec3>& targets,
                    int threads, Registration& answer);

/// Fraction of the inner blocks of about 8 mm (what was empty included) whose HU changed by more than a motion of 1 to 2 mm,
/// noise or another scanner could make them.
[[nodiscard]] double changed_fraction(const PlannedObject& planned, const Level& day, const Fit& fit);

/// Expected 95 % errors at targets, from how far the structures near them lie off.
[[nodiscard]] std::vector<double> errors_at(const std::vector<Vec3>& targets, const PlannedObject& planned,
                                            const Level& day, const Fit& fit, int threads);

}  // namespace leastharm::registration_detail
