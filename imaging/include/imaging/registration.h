#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "imaging/grid.h"

namespace leastharm {

/// A rigid motion of space: maps points of one frame onto another. LPS, mm.
struct RigidTransform {
  Mat3 rotation = Mat3::Identity();     ///< proper: determinant +1
  Vec3 translation_mm{0, 0, 0};

  [[nodiscard]] Vec3 apply(const Vec3& lps_mm) const { return rotation * lps_mm + translation_mm; }
  [[nodiscard]] RigidTransform inverse() const {
    return {rotation.transpose(), -(rotation.transpose() * translation_mm)};
  }
};
/// Angle of the rotation, degrees.
[[nodiscard]] double rotation_angle_deg(const RigidTransform& transform);

/// How far matched places of one structure lie apart after the motion, along its surface normals.
struct FitDistances {
  int places = 0;             ///< 0: the structure could not be measured
  double mean_mm = 0, p95_mm = 0;
};

/// The two scans to be brought together. All outlive the call.
struct RegistrationInput {
  const Volume<std::int16_t>& planning_hu;
  const Volume<std::uint8_t>& planning_materials;   ///< tells the object from its support; on the same grid
  const Volume<std::int16_t>& day_hu;
  std::vector<Vec3> targets_lps_mm;                 ///< places in the planning CT where the error matters: the tips
  int threads = 0;                                  ///< 0: one a core; never changes the answer
  bool may_be_altered = false;                      ///< what its inside holds may have changed: told, not refused
};

/// A pair of markers: the same fiducial seen in both scans.
struct FiducialPair {
  std::string name;
  Vec3 planning_lps_mm{0, 0, 0}, day_lps_mm{0, 0, 0};
};

/// Planning CT brought into the day's CT, and how well that holds.
struct Registration {
  RigidTransform day_from_planning;
  std::string method;                ///< "surface and bone", or "5 fiducials"
  double correlation = 0;            ///< of HU over the object, smoothed to about 3 mm; 1 = the same
  double changed = 0;                ///< fraction of the object's inside whose HU are no longer what they were
  double covered = 0;                ///< fraction of the planned object that the day's CT shows
  double gain = 1, offset_hu = 0;    ///< day's HU = gain x planned HU + offset: two scanners read a little otherwise
  FitDistances surface, bone;
  double fiducial_residual_mm = 0;   ///< root mean square; 0 without fiducials
  double inner_shift_mm = 0;         ///< farthest that a part of the inside moved against the outside
  std::string inner_shift_where;     ///< which part, with its place in the planning CT; empty where none could be measured
  std::vector<double> target_error_p95_mm;   ///< expected: 95 of 100 errors at each target are below
};

/// Finds the rigid motion from HU alone, whatever the posture on the day: turned about, prone, feet first, shifted, or
/// showing only a part of the object. The support may differ. Robust least squares on HU from coarse to fine; started
/// from the moments of the whole and of the dense parts in all 24 axis orders. Deterministic.
///
/// Within 0.3 mm on an invented body at 1.4 x 1.4 x 3 mm with fresh noise (tests/imaging/registration_test.cpp).
/// Throws BadInput where either scan shows no object, the day's CT shows another object, or the object mirrored.
/// What moved inside, or fits badly, is reported, not refused: the limits are the caller's.
[[nodiscard]] Registration register_ct(const RegistrationInput& input);

/// The rigid motion that brings fiducials together with least squares (Umeyama 1991, IEEE Trans. Pattern Anal. Mach.
/// Intell. 13:376-380, without scale), its fit measured on HU as above. Expected errors after Fitzpatrick, West and
/// Maurer 1998, IEEE Trans. Med. Imaging 17:694-702; a fiducial counts as no better placed than its voxel allows.
///
/// Throws BadInput for fewer than four pairs, a name twice, points that lie on one line or one plane too nearly to tell a
/// mirrored object (thinner than 5 mm), pairs that fit better mirrored, or a pair far out of place (it is named).
[[nodiscard]] Registration register_fiducials(const RegistrationInput& input, const std::vector<FiducialPair>& pairs);

}  // namespace leastharm
