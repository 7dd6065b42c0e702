#pragma once

#include <cstdint>
#include <vector>

#include "planner/assess.h"
#include "planner/clearance.h"
#include "planner/core_yield.h"
#include "planner/entry.h"

namespace leastharm {

/// Assesses many tracks on one body under one request file: what does not hang on the track is prepared once.
/// All members may be called from several threads at once.
class Assessor {
 public:
  /// Throws BadInput where a request names an unknown cavity, asks for sides before the frame is confirmed, or the
  /// body's volumes do not fit its grid. `body` outlives this.
  Assessor(const Body& body, RequestFile file, std::uint64_t seed = 1);
  Assessor(Body&&, RequestFile, std::uint64_t = 1) = delete;   ///< a passing body would not outlive it

  /// Everything that needs no draws: crossings, volumes, hole, clearance, sides, damage, the limits on them; masses are
  /// the nominal ones (every uncertain quantity at its median, the map right), and p_enough, p_reach, p_touch are left
  /// empty. Throws BadInput as `assess`.
  [[nodiscard]] TrackAssessment assess_exact(const Track& track) const;
  /// All of one track, chances and intervals included; fewer draws are quicker and less sure.
  [[nodiscard]] TrackAssessment assess_track(const Track& track, int draws = kMassDraws) const;
  /// Tracks together: each as above, then spacing, sides, shared holes, pooled needs.
  [[nodiscard]] Assessment assess(const std::vector<Track>& tracks) const;

  [[nodiscard]] const Body& body() const { return *body_; }
  [[nodiscard]] const RequestFile& file() const { return file_; }
  /// How the cores of a request are weighed; with an empty id, those of none. Throws BadInput for an unknown one.
  [[nodiscard]] const MassModel& mass_model(const std::string& request_id) const;
  [[nodiscard]] const std::vector<KeepOut>& keep_outs() const { return keep_outs_; }
  /// The region of a request by id; of packing and resin anywhere for an empty id. Throws BadInput for an unknown one.
  [[nodiscard]] Region region_of(const std::string& request_id) const;
  /// What one core of a request must yield, mg: the need, or its share where pooled. 0 for an empty id.
  [[nodiscard]] double need_of_one_mg(const std::string& request_id) const;

 private:
  struct Site;
  [[nodiscard]] Site enter(const Track& track) const;
  [[nodiscard]] TrackAssessment exact(const Site& site) const;
  /// All but p_enough.
  [[nodiscard]] TrackAssessment with_chances(const Track& track, MassDraws& masses, int draws = kMassDraws) const;
  [[nodiscard]] MassDraws add_chances(TrackAssessment& a, int draws) const;
  void add_geometry_findings(TrackAssessment& a, const Site& site) const;
  void add_core_findings(TrackAssessment& a, double foreign) const;
  void add_damage(TrackAssessment& a, const Site& site) const;

  const Body* body_;
  RequestFile file_;
  std::uint64_t seed_;
  std::vector<MassModel> models_;   ///< one a filling
  std::vector<KeepOut> keep_outs_;
  double middle_x_mm_ = 0;
};

}  // namespace leastharm
