#pragma once

#include <string>
#include <vector>

#include "planner/case.h"
#include "viewer/print.h"

namespace leastharm {

/// What pictures and charts call each track: its id, or its number in the plan where some id is too
/// long for a picture.
[[nodiscard]] std::vector<std::string> short_names(const std::vector<TrackAssessment>& tracks);
/// What text and tables call it: its id, its number before it where pictures go by numbers.
[[nodiscard]] std::string full_name(const std::vector<TrackAssessment>& tracks, std::size_t n);

/// The request file of the case, or the defaults where there is none.
[[nodiscard]] const RequestFile& request_file_of(const Paper& paper);
/// The request that a track answers; null where it answers none.
[[nodiscard]] const Request* request_of(const Paper& paper, const TrackAssessment& track);
/// "packing from the cavity flank", in words.
[[nodiscard]] std::string wanted_material(const Request& request);
[[nodiscard]] std::string from_where(const Request& request);

/// The masses of one core over all tracks: the least 5 % point and the largest 95 % point, mg.
struct MassRange {
  double low_mg = 0, high_mg = 0;
};
[[nodiscard]] MassRange range_of_one_core(const std::vector<TrackAssessment>& tracks);

/// Materials that some track crosses, in the order in which the first track that meets them does.
[[nodiscard]] std::vector<Material> materials_crossed(const std::vector<TrackAssessment>& tracks);
[[nodiscard]] double crossed_mm(const TrackAssessment& track, Material material);

/// The keep-out that a track comes nearest to; null without any.
[[nodiscard]] const std::pair<const std::string, double>* nearest_keep_out(
    const TrackAssessment& track);
/// The keep-out most likely touched; null without any.
[[nodiscard]] const std::pair<const std::string, double>* likeliest_touch(
    const TrackAssessment& track);

/// A lesser choice with its price; null where none was worked out.
[[nodiscard]] const Price* price_of(const Paper& paper, LesserChoice choice);

/// What stands in place of the two words alone, always.
inline constexpr const char* kLeastHarmMeans =
    "“Least harm” here means: least score under these weights, this map, these needles, straight "
    "tracks.";
/// True where a lower bound was proven by a named method.
[[nodiscard]] bool has_proof(const Paper& paper);
/// How near the plan is to the least possible score, in words; says so where no proof exists.
[[nodiscard]] std::string certificate_sentence(const Paper& paper);

/// The masks of what no picture shows.
[[nodiscard]] std::vector<const Mask*> withheld_masks(const Paper& paper);

/// "Plan version 3 · 3f2a91c0".
[[nodiscard]] std::string plan_name(const Paper& paper);
/// The latest date that the case records, as "2026-03-01T09:30:00Z"; empty without any.
[[nodiscard]] std::string latest_date(const CaseFile& file);

}  // namespace leastharm
