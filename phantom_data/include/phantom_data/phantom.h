#pragma once

#include <cstdint>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "imaging/body_frame.h"
#include "imaging/grid.h"

/// Invented mummies with known truth. No real body, museum or scan stands behind any of them.
namespace leastharm::phantom {

/// How the object lies in the scanner. Prone and feet-first turn the body alone: its support stays below it.
/// Rotation and shift then move the whole scene, and the grid grows with it.
struct Pose {
  bool prone = false;         ///< front down
  bool feet_first = false;    ///< head towards -z
  Vec3 rotation_deg{0, 0, 0};   ///< about the LPS axes x, then y, then z
  Vec3 shift_mm{0, 0, 0};       ///< LPS
};

/// What may differ from the scenario's own settings.
struct PhantomOptions {
  std::uint64_t seed = 1;
  std::uint64_t scan = 0;              ///< another number: the same body scanned again, with noise of its own
  std::optional<Vec3> spacing_mm;      ///< voxel size along i, j, k; 0.3 to 10 mm each
  std::optional<double> noise_hu;      ///< standard deviation, 0 to 200 HU
  std::optional<Vec3> grid_rotation_deg;   ///< of the scanner's grid about the LPS axes x, then y, then z
  Pose pose;
  double hu_offset = 0;                ///< added to every reading: a badly set scanner
  unsigned threads = 0;                ///< 0: as many as the machine has; never changes the answer
};

/// A scanned body and everything known about it.
///
/// A voxel's truth is the material with the largest share of its volume (2 to 4 staggered samples along each axis;
/// of equal shares the higher label wins). So air gaps between layers of linen count as wrapping where
/// they are thinner than about half a voxel, and as air where they are wider. Air inside the body is `air`, as is
/// the living lung. `bone` is cortical and spongy bone, marrow space and teeth; `body` is all other tissue.
struct Phantom {
  Volume<std::int16_t> hu;        ///< as a 12-bit scanner stores it: clipped to -1024..3071
  Volume<std::uint8_t> truth;     ///< label values of `Material`, on the same grid
  BodyFrame frame;                ///< the object's own, in LPS; certainty 1
  nlohmann::json scenario;        ///< readable: what it is, units, settings; says that it is invented
  std::map<std::string, Vec3> points;   ///< named places, LPS mm: "packing_left", "packing_right", "opening", ...
};

/// All scenarios, the demo's `adult` first.
[[nodiscard]] std::vector<std::string> scenario_names();

/// Builds and scans one body. Same name and options, same bytes, on any number of threads.
/// Throws BadInput for an unknown name, or a setting out of range (it says the range).
[[nodiscard]] Phantom make_phantom(std::string_view name, const PhantomOptions& options = {});

}  // namespace leastharm::phantom
