#pragma once

#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "imaging/registration.h"
#include "planner/case.h"
#include "planner/day_card.h"

namespace leastharm {

/// How far things may lie off before a plan is not carried into the day's CT.
struct TransferLimits {
  double error_mm = 3;  ///< expected 95 % error at any tip, and mean distance of surface or bone
  double inner_mm = 2;  ///< motion of the inside against the outside
};

/// What a cavity holds on the day against what it held when planned, away from its borders.
struct Contents {
  std::string cavity;
  int places = 0;                        ///< 0: too few could be compared
  double changed = 0;                    ///< fraction of the places that read otherwise by 60 HU or more (or four times the noise)
  double planned_hu = 0, day_hu = 0;     ///< medians; the planned one as the day's scanner would read it
};

/// A plan brought into the CT of the day. Lies in the case's transfers/ and never alters the plan.
struct Transfer {
  int number = 0;                 ///< 1, 2, ... in the order in which they were made
  std::string at;                 ///< UTC, ISO 8601
  std::string plan_sha256, plan;  ///< which plan: its hash, and its label as people quote it
  CtReference day_ct;
  bool same_ct = false;  ///< the plan was made on this very CT: nothing had to be registered
  Registration registration;
  std::vector<Contents> contents;   ///< of every cavity
  TransferLimits limits;
  std::vector<Track> tracks;  ///< in the day's CT
  nlohmann::json assessment;  ///< of these tracks in the day's CT
  DayCard card;
};

[[nodiscard]] nlohmann::json to_json(const Registration& registration,
                                     const std::vector<Track>& tracks);
[[nodiscard]] nlohmann::json to_json(const Transfer& transfer);
[[nodiscard]] Transfer parse_transfer(const nlohmann::json& json);

/// Fiducials: {"fiducials": [{"name", "planning_lps_mm": [x,y,z], "day_lps_mm": [x,y,z]}, ...]},
/// with the optional "planning_frame_of_reference_uid" and "day_frame_of_reference_uid". Throws
/// BadInput.
[[nodiscard]] std::vector<FiducialPair> parse_fiducials(const nlohmann::json& json,
                                                        const std::string& planning_uid,
                                                        const std::string& day_uid);

[[nodiscard]] Track carried(const Track& track, const RigidTransform& motion);
/// A mask laid onto the day's grid, nearest voxel; empty where the day's CT does not show it.
[[nodiscard]] Mask carried_mask(const Mask& mask, const Grid& day, const RigidTransform& motion);
[[nodiscard]] BodyFrame carried_frame(const BodyFrame& frame, const RigidTransform& motion);

/// Every cavity of the planning body, then and on the day.
[[nodiscard]] std::vector<Contents> contents_on_the_day(const Body& planning, const Volume<std::int16_t>& planning_hu,
                                                        const Volume<std::int16_t>& day_hu,
                                                        const Registration& registration);
/// Throws NoAnswer where more than 5 % of a cavity is not what was planned for.
void check_contents(const std::vector<Contents>& contents);
[[nodiscard]] nlohmann::json to_json(const std::vector<Contents>& contents);

/// What a planning CT and one of the day have to do with each other: from the fiducials where some
/// are given, else from surface and bone; the identity where they are the same CT. `targets`: tips
/// in the planning CT. With `may_be_altered`, an object whose inside changed is told in `changed`
/// and not refused: for planning anew.
[[nodiscard]] Registration register_day(const CaseFile& file, const OpenedCase& planning,
                                        const CtVolume& day,
                                        const std::vector<FiducialPair>& fiducials,
                                        std::vector<Vec3> targets, bool may_be_altered = false);

/// Throws NoAnswer naming what is over its limit and by how much: the expected error at a tip, a
/// distance of surface or bone, the inside against the outside. Throws BadInput where the day's CT
/// does not show a whole track.
void check_transfer(const Registration& registration, const std::vector<Track>& day_tracks,
                    const Grid& day_grid, const TransferLimits& limits);

/// The planning case's map, marks and frame laid onto the day's CT: each voxel takes the label that
/// the planning CT has at its place (nearest voxel). The map is carried, not made anew: it is the
/// one that people corrected and approved, and the registration has shown that it still holds. The
/// former support is left out; what the day's CT shows denser than -700 HU at least 3 mm beside the
/// object counts as support. Marks wholly outside the day's CT are left out.
[[nodiscard]] std::unique_ptr<OpenedCase> carried_body(const OpenedCase& planning, CtVolume day,
                                                       const RigidTransform& day_from_planning);

/// Tracks, assessment and card of a checked registration. `ct` is where the day's CT lies and what
/// it is. Throws NoAnswer as `check_contents` does.
[[nodiscard]] Transfer make_transfer(const CaseFile& file, const OpenedCase& planning, CtVolume day,
                                     CtReference ct, const Registration& registration,
                                     const TransferLimits& limits);

/// Writes a transfer into the case's transfers/ under the next number, which it takes, and appends
/// it to the records
/// (`folder.file`, to be saved by the caller). The file is whole or not there at all.
void keep_transfer(CaseFolder& folder, Transfer& transfer);
/// The latest transfer of the plan as it stands; empty where there is none. Throws BadInput where
/// its file is gone or was changed outside the program.
[[nodiscard]] std::optional<Transfer> standing_transfer(const CaseFolder& folder);
/// Transfers whose files are gone or were changed, in words.
[[nodiscard]] std::vector<std::string> transfer_faults(const CaseFolder& folder);

}  // namespace leastharm
