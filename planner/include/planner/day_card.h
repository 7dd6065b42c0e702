#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "planner/assess.h"
#include "planner/body.h"

namespace leastharm {

/// Stop here, leave the room and take a control scan.
struct Halt {
  double depth_mm = 0;
  std::string why;
};

/// One track as the operator sets it, in the terms of the day's CT.
struct CardTrack {
  int order = 0;  ///< 1 = first
  std::string id;
  Needle needle;
  Vec3 entry_lps_mm{0, 0, 0};  ///< its z is the table position
  int slice = 0;               ///< nearest slice, counted from 1 in the volume's order
  double right_mm = 0, down_mm = 0;  ///< of the entry from the CT's zero lines (see DayCard), as
                                     ///< the axial picture's columns and rows run
  double in_plane_deg =
      0;  ///< in the axial picture, from straight down; positive = tip towards its right; -180..180
  double out_of_plane_deg =
      0;  ///< out of the axial plane; positive = tip towards rising slice numbers; -90..90
  double depth_mm = 0;  ///< entry to the end of the bore
  double stop_mm =
      0;  ///< length of needle that stays outside: usable length less depth and dead tip
  double error_p95_mm =
      0;  ///< expected at the tip from the transfer; 0 where the plan was made on this CT
  double placement_mm = 0;  ///< per-axis standard deviation assumed in the plan
  std::vector<Halt> halts;  ///< by depth, before the full depth
  bool admissible = true;
  std::vector<Finding> findings;
  std::string ask_first;  ///< which limits of the plan do not hold in this CT, in words; empty
                          ///< where all do
};

/// What the sheet by the table says. Order: the core with the least foreign material first, then
/// the least damage; one needle a track.
///
/// Table position and offsets are in the day CT's own coordinates, which its scanner gave it: the
/// table position is the entry's z, offsets are counted from the lines x = 0 and y = 0, not from the
/// picture, whose middle moves with its field of view. CT files do not say where the lights of
/// the room's laser lie; on most scanners they show x = 0, and y = 0 at the height it was set to.
struct DayCard {
  std::vector<CardTrack> tracks;
  Vec3 picture_middle_lps_mm{0, 0, 0};  ///< of the middle slice: to check the zero lines against
};

/// `assessment` is of the tracks in the day's CT, `body` the day's body with its keep-outs;
/// `error_p95_mm` one a track, in the assessment's order (empty: none). A control scan is due at
/// half depth, and 10 mm before the place nearest to each keep-out that comes within 30 mm of the
/// needle (before entering, where that is above the surface). Angles and depth are exact for the
/// given points. Throws BadInput where the CT's slices are not axial (z more than 45 degrees off
/// their normal, or their rows nearer to y than to x): nothing on the card would be true.
[[nodiscard]] DayCard make_day_card(const Body& body, const Assessment& assessment,
                                    const std::vector<double>& error_p95_mm,
                                    const Placement& placement);

[[nodiscard]] nlohmann::json to_json(const DayCard& card);
[[nodiscard]] DayCard parse_day_card(const nlohmann::json& json);

}  // namespace leastharm
