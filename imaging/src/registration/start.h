#pragma once

#include <span>
#include <vector>

#include "align.h"

namespace leastharm::registration_detail {

/// Mass, middle and axes of a part of a scan.
struct Moments {
  double weight = 0;
  Vec3 middle{0, 0, 0};
  Mat3 axes = Mat3::Identity();   ///< columns: principal axes, shortest extent first; proper
  Vec3 extent_mm{0, 0, 0};        ///< standard deviation along each
};

/// What is counted: everything denser than loose fibre, or what is dense (bone, mineral, metal: hardly ever a support).
enum class Part { all, dense };
/// `share`, where not empty, weighs each block (255 = whole).
[[nodiscard]] Moments moments_of(const Level& level, Part part, const std::vector<std::uint8_t>& share);

/// The best motions found from every start, best first: moments of several parts in all 24 axis orders, and shifts along
/// the body's length for scans that show different parts of it. At most `most`; each already aligned on this level.
[[nodiscard]] std::vector<Fit> starts_of(const Level& planning, const std::vector<std::uint8_t>& object,
                                         const Level& day, std::span<const Probe> probes, int most, int threads);

/// Correlation, less where little is covered: what starts are ranked by.
[[nodiscard]] double rank_of(const Agreement& agreement);

}  // namespace leastharm::registration_detail
