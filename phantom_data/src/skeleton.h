#pragma once

#include <vector>

#include "scene.h"

/// The bones of an adult of about 1.5 m, in the body's frame: x to its left, y to its back, z to its head, mm, hip joints at
/// z = 0. Sizes are rounded from anatomy textbooks' usual ranges (from memory) and shortened to fit.
namespace leastharm::phantom {

/// Centre line of the vertebral bodies at a level.
[[nodiscard]] Vec3 spine_at(double z);
inline constexpr double kSacrumTop_mm = 82, kNeckBase_mm = 452, kSkullBase_mm = 552;

/// A hollow bone along a polyline: cortical outside, `inside` within `shell_mm`.
[[nodiscard]] Parts long_bone(const std::vector<TubePoint>& points, const Vec3& side, double shell_mm,
                              const Texture& inside);
/// Any solid as a bone: cortical outside, spongy within `shell_mm`.
[[nodiscard]] Parts spongy_bone_of(const ShapePtr& shape, double shell_mm);

[[nodiscard]] Parts spine_bones();
[[nodiscard]] Parts rib_cage(const Loft& torso);
[[nodiscard]] Parts shoulder_bones();
[[nodiscard]] Parts pelvis_bones();
[[nodiscard]] Parts leg_bones();

/// A limb's course: points of its middle line.
using Course = std::vector<Vec3>;
[[nodiscard]] Course upper_arm(int side);      ///< side: +1 left, -1 right
/// Crossed over the chest, the left one in front; or beside the body.
[[nodiscard]] Course forearm(int side, bool crossed);
[[nodiscard]] Course leg(int side);            ///< hip to heel
[[nodiscard]] Parts arm_bones(int side, bool crossed);

/// Skull, jaw and teeth in the head's own frame (origin in the middle of the vault, see `head_move`).
[[nodiscard]] Parts skull_bones();
/// The skull's inside, in the head's frame.
[[nodiscard]] ShapePtr skull_room();
/// Flesh over the skull, in the head's frame.
[[nodiscard]] std::vector<ShapePtr> head_flesh(double thickness_mm);
/// From the head's frame to the body's, scaled about the skull base.
[[nodiscard]] Move head_move(double scale);

}  // namespace leastharm::phantom
