#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "imaging/body_frame.h"
#include "imaging/grid.h"
#include "imaging/mask.h"
#include "imaging/material.h"

namespace leastharm {

enum class MarkKind { cavity, keep_out, opening, zone };

[[nodiscard]] std::string_view name_of(MarkKind kind);   ///< "cavity", "keep-out", "opening", "zone"

/// A named region that a person set, or a dense object protected from the start.
struct Mark {
  std::string name;
  MarkKind kind = MarkKind::cavity;
  double weight_mm = 0;        ///< zones only: weight of a hole's area inside the zone
  bool automatic = false;      ///< a dense object found by the program
  Mask mask;
};

/// How good the scan is; enters the mass's uncertainty.
struct ScanQuality {
  double noise_hu = 20;                ///< standard deviation in one voxel
  double offset_sd_hu = 10;            ///< standard deviation of a shift common to all voxels
  double effective_energy_kev = 68;    ///< of the beam
};

/// Everything the planner computes on. The spans are on `grid` and outlive the body.
struct Body {
  Grid grid;
  std::span<const std::int16_t> hu;
  std::span<const std::uint8_t> materials;
  std::span<const std::uint8_t> confidence;
  std::vector<Mark> marks;             ///< keep-outs that were waived are left out
  std::optional<BodyFrame> frame;      ///< set only once a person has confirmed it
  ScanQuality scan;

  [[nodiscard]] Material material_at(VoxelIndex v) const {   ///< air outside the grid
    return grid.contains(v) ? static_cast<Material>(materials[grid.offset(v)]) : Material::air;
  }
  [[nodiscard]] const Mark* find_mark(std::string_view name) const;
};

}  // namespace leastharm
