#pragma once

#include <array>
#include <functional>

#include "planner/assess.h"

namespace leastharm {

/// A constraint that leaves no admissible answer.
struct Blocking {
  std::string request, constraint;   ///< e.g. "mass", "clearance dense-1", "entry_angle_deg", "sides"
  double needed = 0, best_found = 0;
  std::string unit, remedy;
};

/// Another route that an exchange may bring into the plan.
struct Alternative {
  std::string id;            ///< "A1", ...
  std::string best_in;       ///< why it is shown: "damage after the plan", "certainty", "yield", "nearness to the opening X", ...
  std::string in_place_of;   ///< the plan's track that it would replace; all limits still hold then
  Assessment assessment;     ///< of the plan after the exchange; the new track has this alternative's id

  /// The new track alone.
  [[nodiscard]] const TrackAssessment& route() const;
};

/// How firm the plan's first place is when the weights vary. Its rivals are the plans that put one clearly different
/// admissible route in place of one of its own.
struct Firmness {
  int first_in_100 = 0;                       ///< of 100 random weight sets, each weight within half and double, how often the plan scores least
  std::vector<std::string> changed_by;        ///< single changes that put a rival first: "bone doubled", "hole halved"
  int rivals = 0;                             ///< 0: nothing to stand before, the other members mean nothing
};
/// "This plan stays first in 93 of 100 ...", for people.
[[nodiscard]] std::string firmness_sentence(const Firmness& firmness);

/// The lesser choices that always stand beside a plan.
enum class LesserChoice { nothing, archived_material, one_core, half_the_mass };
inline constexpr std::array kLesserChoices{LesserChoice::nothing, LesserChoice::archived_material, LesserChoice::one_core,
                                           LesserChoice::half_the_mass};
[[nodiscard]] std::string_view name_of(LesserChoice choice);   ///< "nothing", "archived material", "one core", "half the mass"
/// What is asked where a plan of one core (of each request), or of half the mass, is made.
[[nodiscard]] RequestFile request_at(const RequestFile& file, LesserChoice choice);
/// The conclusion that is lost with a lesser choice, in one or two sentences.
[[nodiscard]] std::string conclusion_lost(const RequestFile& file, LesserChoice choice);

/// A lesser choice with its price.
struct Price {
  LesserChoice choice = LesserChoice::nothing;
  bool found = true;         ///< false: no admissible tracks were found for it
  Assessment assessment;     ///< under `request_at`; without tracks for nothing and archived material
  std::string lost;          ///< `conclusion_lost`
};

struct Proposal {
  bool feasible = false;
  bool proven = false;                  ///< infeasibility is proven, not only not found
  Assessment assessment;                ///< tracks T1, T2, ... in sampling order, cleanest first
  Certificate certificate;
  std::string stopped;                  ///< "gap", "nodes" or "time"
  std::vector<Alternative> alternatives;
  Firmness firmness;
  std::vector<Price> prices;            ///< one a lesser choice
  std::vector<Blocking> blocking;       ///< when not feasible
};

/// Progress of a search; return false to stop and keep the best.
using SearchProgress = std::function<bool(double best_score, double lower_bound, double seconds)>;

/// Finds the tracks that answer all requests with the least damage, with a proven lower bound.
[[nodiscard]] Proposal propose(const Body& body, const RequestFile& request, std::uint64_t seed = 1,
                               const SearchProgress& progress = {});

[[nodiscard]] nlohmann::json to_json(const Proposal& proposal);

}  // namespace leastharm
