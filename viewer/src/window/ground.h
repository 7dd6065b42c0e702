#pragma once

#include <memory>
#include <string>
#include <vector>

#include "planner/assessor.h"
#include "planner/case.h"

namespace leastharm {

/// The volumes that figures are computed on. Never altered once made: a correction makes new ones.
struct Volumes {
  std::shared_ptr<const CtVolume> ct;
  std::shared_ptr<const Volume<std::uint8_t>> materials, confidence;
};

/// Everything that figures are computed on, ready for use by several threads at once. Never altered
/// once made.
struct Ground {
  Volumes volumes;
  Body body;                                 ///< its spans point into the volumes
  std::unique_ptr<const Assessor> assessor;  ///< null where the request cannot be assessed at all
  VoxelIndex object_low{},
      object_high{};         ///< corners of the box that holds the object, support left out
  std::uint64_t number = 0;  ///< another for every ground of a run
  std::string fault;         ///< why the request does not hold as it stands; empty where it does

  Ground() = default;
  Ground(const Ground&) = delete;
  Ground& operator=(const Ground&) = delete;
};

/// Where the request asks for what the case does not have (sides before the frame is confirmed, a
/// cavity that is gone), `fault` says so, and the figures are given without that part.
[[nodiscard]] std::shared_ptr<const Ground> make_ground(const Volumes& volumes,
                                                        std::vector<Mark> marks,
                                                        const CaseFile& file);

/// The object's half length along a direction, and its middle: of the box that holds it.
[[nodiscard]] double half_length_mm(const Ground& ground, const Vec3& way);
[[nodiscard]] Vec3 middle_of(const Ground& ground);

/// Marks that bear on the plan: all but the waived.
[[nodiscard]] bool is_waived(const CaseFile& file, const MarkRecord& record);

}  // namespace leastharm
