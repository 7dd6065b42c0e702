// Whether the plan stays first when the weights are others.
#include <algorithm>
#include <cmath>

#include "alternatives.h"
#include "planner/counter_random.h"
#include "planner/text.h"
#include "planner/together.h"

namespace leastharm {
namespace {

constexpr int kRandomSets = 100;

/// The weight behind a part: all keep-outs share one.
std::string weight_of(const std::string& part) { return part.starts_with("near ") ? "keep-outs" : part; }

Shares shares_of(const Body& body, const std::vector<TrackAssessment>& tracks) {
  const SharedHoles holes = shared_holes(body, tracks);
  Shares shares;
  for (std::size_t t = 0; t < tracks.size(); ++t)
    for (const auto& [part, value] : tracks[t].damage.parts) {
      const bool of_hole = part == "hole" || part.starts_with("zone ");
      shares[weight_of(part)] += of_hole ? value * holes.own_part[t] : value;
    }
  return shares;
}

double score_at(const Shares& shares, const std::map<std::string, double>& factors) {
  double score = 0;
  for (const auto& [weight, share] : shares) score += share * factors.at(weight);
  return score;
}

/// The rivals: one clearly different route in place of one of the plan's.
std::vector<Shares> rivals_of(const Pool& pool, const std::vector<TrackAssessment>& plan) {
  std::vector<Shares> rivals;
  for (const std::size_t n : clearly_different(pool)) {
    std::vector<TrackAssessment> tracks = plan;
    tracks[*place_for(pool, n)] = pool.routes[n].assessment;
    rivals.push_back(shares_of(pool.scene.body(), tracks));
  }
  return rivals;
}

}  // namespace

Firmness find_firmness(const Pool& pool, std::uint64_t seed) {
  std::vector<TrackAssessment> tracks;
  for (const std::size_t p : pool.plan) tracks.push_back(pool.routes[p].assessment);
  return firmness_among(shares_of(pool.scene.body(), tracks), rivals_of(pool, tracks), seed);
}

Firmness firmness_among(const Shares& plan, const std::vector<Shares>& rivals, std::uint64_t seed) {
  Firmness firmness;
  firmness.rivals = static_cast<int>(rivals.size());
  if (rivals.empty()) return firmness;

  std::map<std::string, double> factors;
  for (const auto& [weight, share] : plan) factors[weight] = 1;
  for (const Shares& rival : rivals)
    for (const auto& [weight, share] : rival) factors[weight] = 1;
  const auto is_first = [&](const std::map<std::string, double>& at) {
    const double mine = score_at(plan, at);
    return std::ranges::all_of(rivals, [&](const Shares& rival) { return score_at(rival, at) >= mine - 1e-9; });
  };
  for (const auto& [weight, one] : factors)
    for (const auto& [factor, word] : {std::pair{0.5, " halved"}, {2.0, " doubled"}}) {
      std::map<std::string, double> changed = factors;
      changed[weight] = factor;
      if (!is_first(changed)) firmness.changed_by.push_back(weight + word);
    }
  for (int n = 0; n < kRandomSets; ++n) {
    std::map<std::string, double> drawn;
    for (const auto& [weight, one] : factors)
      drawn[weight] = std::exp2(2 * random_uniform(seed, stream_named("weight " + weight), static_cast<std::uint64_t>(n)) - 1);
    firmness.first_in_100 += is_first(drawn) ? 1 : 0;
  }
  return firmness;
}

std::string firmness_sentence(const Firmness& firmness) {
  if (firmness.rivals == 0) return "No clearly different route was found that the plan could be held against.";
  std::string text = "With every weight drawn at random between half and double, the plan stays first in " +
                     std::to_string(firmness.first_in_100) + " of 100 draws, against " +
                     std::to_string(firmness.rivals) + (firmness.rivals == 1 ? " rival" : " rivals") +
                     " in which one clearly different route takes the place of one of its own. ";
  if (firmness.changed_by.empty()) return text + "Halving or doubling any single weight leaves it first.";
  return text + "It loses the first place with " + joined(firmness.changed_by) + ".";
}

}  // namespace leastharm
