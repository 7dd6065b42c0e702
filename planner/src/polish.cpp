#include "polish.h"

#include <algorithm>

#include "line_chances.h"
#include "planner/cylinder.h"
#include "planner/entry.h"

namespace leastharm {
namespace {

constexpr double kFirst_mm = 2, kLast_mm = 0.2;

class Polish {
 public:
  Polish(const SearchScene& scene, const Assessor& assessor, const Assessed& start)
      : scene_(scene), assessor_(assessor), best_(start), limits_(scene.file().limits),
        least_p_(std::min(wished_p_enough(scene.file().limits), start.candidate.p_enough)), price_(price_of(start.assessment)),
        quick_lack_(start.candidate.p_enough - estimated_p_enough(scene, start.candidate.route)) {
    limits_.side = start.candidate.route.side;
  }

  Assessed run() {
    if (!best_.assessment.admissible) return best_;
    for (double step = kFirst_mm; step > kLast_mm;)
      if (!sweep(step)) step /= 2;
    return best_;
  }

 private:
  /// What a track costs, dearer near the tilt limit.
  [[nodiscard]] double price_of(const TrackAssessment& a) const {
    return a.damage.score * (1 + near_limit_price(scene_, scene_.frame().direction(axis_of(a.track))));
  }

  /// Tries every move of one size; true where one made the track cheaper.
  bool sweep(double step_mm) {
    bool moved = false;
    for (const double along : {0.0, -0.5, 0.5}) {
      if (along != 0) moved |= take({0, 0, 0}, {0, 0, 0}, along * step_mm);
      for (int way = 0; way < 4; ++way)
        for (int kind = 0; kind < 3; ++kind) {   // shifted, turned about the tip, about the entry
          const auto sides = across(axis_of(best_.assessment.track));
          const Vec3 aside = (way & 1 ? -step_mm : step_mm) * sides[(way >> 1) & 1];
          moved |= take(kind == 2 ? Vec3::Zero() : aside, kind == 1 ? Vec3::Zero() : aside, along * step_mm);
        }
    }
    return moved;
  }

  bool take(const Vec3& entry_by, const Vec3& tip_by, double deeper_mm) {
    constexpr double kBehind_mm = 3;   // the surface is found again from there
    Track track = best_.assessment.track;
    track.tip_lps_mm += tip_by + deeper_mm * axis_of(track);
    track.entry_lps_mm += entry_by;
    track.entry_lps_mm -= kBehind_mm * axis_of(track);
    const auto entry = find_entry_point(scene_.body(), track.entry_lps_mm, track.tip_lps_mm);
    if (!entry) return false;
    const Route route = as_searched(*entry, track.tip_lps_mm);
    if (!std::isfinite(route.score)) return false;
    const double quick_p = estimated_p_enough(scene_, route);
    if (quick_p + quick_lack_ < least_p_ - kQuickOff) return false;   // draws cost a thousand times as much
    const TrackAssessment exact = assessor_.assess_exact(track);
    const double price = price_of(exact);
    if (!exact.admissible || price > price_ - kWorthwhile * price_ || exact.core.mass_mg < assessor_.need_of_one_mg(track.request)) return false;
    const auto enough = if_enough(assessor_, track, least_p_);
    if (!enough) return false;
    quick_lack_ = enough->core.p_enough.value_or(1) - quick_p;
    price_ = price;
    best_ = assessed_as(scene_, best_.candidate.route, *enough);
    return true;
  }

  /// The track as the search sees it, with its limits, its side and the room to spare behind the entry; without a score where
  /// it does not keep these.
  [[nodiscard]] Route as_searched(const Vec3& entry_lps_mm, const Vec3& tip_lps_mm) const {
    const Vec3 way = tip_lps_mm - entry_lps_mm;
    const auto outward = outward_normal(scene_.body(), entry_lps_mm);
    if (!outward) return {};
    const Vec3 direction = scene_.frame().direction(way.normalized());
    if (!keeps_tilt(direction, limits_.tilt_deg)) return {};
    const double whole_steps = way.norm() + scene_.frame().grid.spacing_mm.minCoeff();   // the search's tips stand at whole steps
    return route_to_depth(scene_, best_.candidate.route.ask, limits_, scene_.frame().point(entry_lps_mm),
                          scene_.frame().direction(*outward), direction, whole_steps);
  }

  static constexpr double kQuickOff = 0.005;    // how far the quick chance, set right by the last drawn one, may lie under the next
  static constexpr double kWorthwhile = 1e-4;   // of the price; less is not worth a step

  const SearchScene& scene_;
  const Assessor& assessor_;
  Assessed best_;
  RouteLimits limits_;
  double least_p_, price_;
  double quick_lack_;   ///< the best track's chance as it was drawn, less its quick estimate
};

}  // namespace

Assessed polished(const SearchScene& scene, const Assessor& assessor, const Assessed& start) { return Polish(scene, assessor, start).run(); }

}  // namespace leastharm
