#pragma once

#include <cstdint>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "imaging/finding.h"
#include "planner/body.h"
#include "planner/request.h"

namespace leastharm {

/// A straight needle path.
struct Track {
  std::string id;
  Vec3 entry_lps_mm{0, 0, 0};
  Vec3 tip_lps_mm{0, 0, 0};     ///< end of the bore; a dead tip reaches further
  Needle needle;
  std::string request;          ///< id, or empty
};

/// One stretch of a track inside one material, in order from the entry; mm of depth.
struct Crossing {
  Material material = Material::air;
  double from_mm = 0, to_mm = 0;
};

struct CoreYield {
  double volume_mm3 = 0;                  ///< of the full bore cylinder
  PerMaterial<double> by_material_mm3{};
  double mass_mg = 0;                     ///< median recovered mass of what is requested
  double mass_mg_p05 = 0, mass_mg_p95 = 0;
  double all_mass_mg = 0;                 ///< everything in the bore, foreign material included
  std::optional<double> p_enough;         ///< empty without a request; of a pooled one: of all its tracks together
  double requested_mm3 = 0;               ///< of the bore, as the map has it
  double foreign_fraction = 0;            ///< of what is not air in the bore, the part that nobody asked for
};

struct Damage {
  double score = 0;                                       ///< sum of the parts
  std::vector<std::pair<std::string, double>> parts;      ///< "wrapping", ..., "hole", "zone NAME", "near NAME"
};

/// All that is known of one track.
struct TrackAssessment {
  Track track;                       ///< its entry moved onto the first surface of the object
  double path_length_mm = 0, entry_angle_deg = 0, tilt_deg = 0;
  bool admissible = false;
  std::vector<Crossing> crossings;
  PerMaterial<double> swept_mm3{};
  double hole_area_mm2 = 0;
  bool through_opening = false;
  std::map<std::string, double> clearance_mm;   ///< by keep-out; negative = inside it
  CoreYield core;
  double p_reach = 0;
  std::map<std::string, double> p_touch;        ///< by keep-out
  std::map<std::string, double> p_touch_se;     ///< standard error of each
  Damage damage;
  std::string side;                  ///< "left", "right", "midline", or "scanner left" ... before the frame is confirmed
  std::vector<Finding> findings;
};

struct Programme {
  double score = 0;      ///< parts of all tracks, a shared hole counted once
  int holes = 0;         ///< holes that overlap are one; none through an opening
  double mass_mg = 0;    ///< median of the sum
  double mass_mg_p05 = 0, mass_mg_p95 = 0;
  double hole_mm2 = 0;   ///< area of the union of all holes
  std::map<std::string, double> p_enough;   ///< by request: chance that every one of its cores yields enough, or their sum where pooled
  std::vector<Finding> findings;   ///< about the tracks together: spacing, sides, cores meeting cylinders
};

/// The proven lower bound and the gap to it.
struct Certificate {
  double lower_bound = 0;
  double gap = 0;          ///< (score - lower_bound) / score; 0 when the score is 0
  std::string covers, method;
};

struct Assessment {
  std::vector<TrackAssessment> tracks;
  Programme programme;
};

/// Assesses tracks together under a request file's weights, limits and placement error. `seed` drives every draw.
/// Throws BadInput where a track names an unknown request, its points coincide or are not finite, or it misses the object.
[[nodiscard]] Assessment assess(const Body& body, const RequestFile& request, const std::vector<Track>& tracks,
                                std::uint64_t seed = 1);

/// A tracks file: {"tracks": [{"id", "entry_lps_mm", "tip_lps_mm", "needle", "request"}], "frame_of_reference_uid"}. `frame_of_reference_uid` (may be empty) is the CT's; another one is BadInput.
[[nodiscard]] std::vector<Track> parse_tracks(const nlohmann::json& json, const std::string& frame_of_reference_uid);
[[nodiscard]] nlohmann::json to_json(const Track& track);
[[nodiscard]] nlohmann::json to_json(const TrackAssessment& assessment);
[[nodiscard]] nlohmann::json to_json(const Assessment& assessment);
[[nodiscard]] nlohmann::json to_json(const Certificate& certificate);

}  // namespace leastharm
