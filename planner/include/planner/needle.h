#pragma once

#include <string>
#include <vector>

namespace leastharm {

enum class NeedleKind { end_cut, side_notch };

/// A sampling needle. Birmingham gauge fixes the outside only, so both diameters are kept.
struct Needle {
  std::string name;             ///< catalogue name, or empty for one given by its measures
  double outer_mm = 0;          ///< outer diameter
  double bore_mm = 0;           ///< inner diameter
  double throw_mm = 0;          ///< core length, from the tip back
  double usable_mm = 0;         ///< length that can enter the object
  NeedleKind kind = NeedleKind::end_cut;
  double dead_tip_mm = 0;       ///< how far the steel reaches beyond the bore's end
  double recovery_p05 = 0.6;    ///< fraction of the full bore cylinder that comes out: 5 % point ...
  double recovery_p95 = 0.9;    ///< ... and 95 % point
  double bore_tolerance_mm = 0.076;   ///< half-width of the maker's tolerance on the bore
  std::string source;           ///< where the measures come from

  [[nodiscard]] double bore_volume_mm3() const;   ///< pi/4 bore^2 throw
};

/// The needles that ship with the program, each with its source.
[[nodiscard]] const std::vector<Needle>& needle_catalogue();

/// Throws BadInput (naming the key and the allowed range) where a measure is not a positive number, bore >= outer,
/// the throw exceeds the usable length, or the recovery is not a range within 0 to 1.
void check_needle(const Needle& needle, const std::string& where);

}  // namespace leastharm
