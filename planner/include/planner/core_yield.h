#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "planner/body.h"
#include "planner/cylinder.h"
#include "planner/request.h"

namespace leastharm {

/// The part of the body that counts for a request: the requested material inside the requested cavity.
/// Without a request: packing and resin anywhere.
struct Region {
  const Request* request = nullptr;   ///< outlives this
  const Mask* cavity = nullptr;       ///< empty pointer = anywhere; outlives this

  [[nodiscard]] bool wants(Material m) const {
    return request != nullptr ? request->wants(m) : m == Material::packing || m == Material::resin;
  }
  [[nodiscard]] bool contains(VoxelIndex v, Material m) const {
    return wants(m) && (cavity == nullptr || cavity->contains(v));
  }
};

/// What lies in a core as it is planned.
struct CoreContent {
  PerWeighed<double> mm3{};                   ///< everything; air includes what lies outside the grid
  PerWeighed<double> requested_mm3{};
  PerWeighed<double> water_mm3{};             ///< integral of 1 + HU/1000: over R it is the mass in mg
  PerWeighed<double> requested_water_mm3{};

  [[nodiscard]] PerMaterial<double> by_material_mm3() const;   ///< of everything
  [[nodiscard]] double requested_total_mm3() const;
  /// Volume of what is neither air nor requested over the volume of all that is not air; 0 for an empty core.
  [[nodiscard]] double foreign_fraction() const;
};

/// Exact along `nodes` lines of equal area. Voxels without a reading count as empty.
[[nodiscard]] CoreContent core_content(const Body& body, const Region& region, const Cylinder& core, int nodes);

/// Least distance from the core's surface to anything that is not in the region, mm; negative where the core holds
/// such; `most_mm` where there is none nearer. Voxels count as their inscribed ellipsoids.
[[nodiscard]] double core_margin_mm(const Body& body, const Region& region, const Cylinder& core, double most_mm);

/// From HU to mass, with all that is uncertain about it.
///
/// A draw shares between all tracks: the HU offset, N(0, offset_sd_hu); each material's composition, a factor
/// exp(N(0, relative_sd)) on R (packing that may be mineral has its own unless a filling is stated); the map's errors. Each track draws for itself: the mean noise over its requested part,
/// N(0, noise_hu sqrt(min(1, v/V))), where v is the volume within which noise goes together (8 mm3 or two voxels,
/// whichever is more: the noise grain of a usual body kernel is about 2 mm); recovery, a normal through the needle's
/// 5 % and 95 % points, cut to 0..1; the bore, even within its tolerance; the placement (placement.h). Its placement and
/// recovery are spread evenly over the draws, not drawn independently.
/// A voxel of confidence c is right with chance c/255: wrong where a standard normal z exceeds that quantile, with
/// z = sqrt(1/2) (one for the whole map) + sqrt(1/2) (one for each 5 mm cube), so errors come in patches. A requested
/// voxel that is wrong yields nothing; a wrong voxel of another material never adds.
class MassModel {
 public:
  explicit MassModel(const Body& body, Filling filling = Filling::not_stated);   ///< `body` outlives this

  [[nodiscard]] const Body& body() const { return *body_; }
  [[nodiscard]] Filling filling() const { return filling_; }
  /// (mu/rho)_material / (mu/rho)_water at the scan's effective energy.
  [[nodiscard]] const PerWeighed<double>& ratio() const { return ratio_; }
  /// Mass with every uncertain quantity at its median and the map taken as right, mg.
  [[nodiscard]] double nominal_requested_mg(const CoreContent& content, const Needle& needle) const;
  [[nodiscard]] double nominal_all_mg(const CoreContent& content, const Needle& needle) const;

  [[nodiscard]] double composition_sd(Material m) const { return composition_sd_[static_cast<std::size_t>(m)]; }
  [[nodiscard]] const PerWeighed<double>& composition_sd() const { return composition_sd_; }
  /// The normal quantile of confidence c/255; infinite at the ends.
  [[nodiscard]] double right_below(std::uint8_t confidence) const { return right_below_[confidence]; }

 private:
  const Body* body_;
  Filling filling_;
  PerWeighed<double> ratio_{}, composition_sd_{};
  std::array<double, 256> right_below_{};
};

/// How much of a scan errs together by its noise, mm3.
[[nodiscard]] double noise_grain_mm3(const Grid& grid);

/// One recovered mass a draw, mg; draws of one number belong together across tracks.
struct MassDraws {
  std::vector<double> requested_mg, all_mg;
};
inline constexpr int kMassDraws = 4000;
[[nodiscard]] MassDraws draw_masses(const MassModel& model, const Region& region, const Track& track,
                                    const Placement& placement, std::uint64_t seed, int draws = kMassDraws);

/// Value below which a fraction of the numbers lies, linear between them. Precondition: not empty.
[[nodiscard]] double quantile_of(std::vector<double> values, double fraction);

/// Fraction of the masses that are at least `need_mg`. Precondition: not empty.
[[nodiscard]] double chance_of_at_least(const std::vector<double>& masses_mg, double need_mg);

/// One draw of a needle's recovery from a standard normal.
[[nodiscard]] double recovery_at(const Needle& needle, double standard_normal);

}  // namespace leastharm
