#include "sheaf_sweep.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "planner/entry.h"
#include "planner/sides.h"

namespace leastharm {
namespace {

// Tips of one sweep lie so near that their hands have a plane in common: this far behind the hub of the first.
constexpr double kHubRoom_mm = 2, kSlab_mm = kHandLengthMm - 2 * kHubRoom_mm - 6;
constexpr double kSteepest = 0.035;   // the cosine from which on a hole grows no more
constexpr std::array<float, 8> kPrices{0, 4, 8, 12, 16, 20, 26, 34};   // mm of what is wanted for certainty instead of none

}  // namespace

SheafSweep::SheafSweep(const SweepGround& ground, const SweepTask& task)
    : ground_(ground), task_(task), needle_(*ground.ask().needle) {
  lay_out();
  find_entering();
  most_touch_mm_ = entry_reach_mm(radius_, ground.scene().file().limits.entry_angle_deg, ground.scene().body().grid) + 2 * (along_ + across_);
}

std::vector<std::vector<SheafCost>> SheafSweep::run() {
  const int slab = std::max(1, static_cast<int>(kSlab_mm / along_));
  for (int first = 0; first < ends_; first += slab) sweep(first_end_ + first, std::min(first_end_ + ends_, first_end_ + first + slab));
  const Lattice ends{lattice_.at(tips_.first[0], tips_.first[1], first_end_) - end_shift_ * task_.sheaf.middle(), lattice_.step,
                     {tips_.end[0] - tips_.first[0], tips_.end[1] - tips_.first[1], ends_}};
  const std::vector<float> chance = chances_at(ends);
  std::vector<std::vector<SheafCost>> costs;
  for (const int side : task_.sides) {
    std::vector<float> there = chance;
    leave_out_other_side(ends, side, there);
    costs.push_back(judge(ends, there));
  }
  return costs;
}

/// Points along from where no needle for these tips has entered yet, and across so wide that what comes in from the border
/// does not get to the tips.
void SheafSweep::lay_out() {
  radius_ = needle_.outer_mm / 2;
  along_ = layer_mm(task_.step_mm, needle_);
  across_ = task_.step_mm;
  run_ = std::clamp(static_cast<int>(SweepGround::kBlock_mm / across_), 2, 16);
  // Where the steel ends with its round kernel wholly before its flat end.
  end_shift_ = needle_.dead_tip_mm - radius_;
  const double tip_step = task_.tips.lattice.step[2].norm();
  beyond_ = static_cast<int>(std::lround(radius_ / along_));
  ends_ = beyond_ + static_cast<int>(std::ceil((task_.tips.high.z() - task_.tips.low.z() + 2) * tip_step / along_)) + 1;
  slab_mm_ = std::min(kSlab_mm, ends_ * along_);
  // At the beginning of a slab's sweep the hand is there, whichever of its tips the needle is for.
  first_end_ = static_cast<int>(std::ceil((needle_.usable_mm + kHubRoom_mm) / along_));
  // Directions wander only from where there is something to meet: most sweeps do with a narrow margin.
  for (const double reach_mm : {40.0, 80.0, needle_.usable_mm}) {
    lay_across(reach_mm);
    const int last = first_end_ + ends_;
    if (ends_ * along_ <= kSlab_mm && (last - first_solid(0, last)) * along_ <= reach_mm) break;
  }
  kept_.assign(tips_.count() * static_cast<std::size_t>(ends_), 0.0f);
  kept_open_.assign(ground_.has_openings() ? kept_.size() : 0, 0);
}

void SheafSweep::lay_across(double reach_mm) {
  const TipChances& tips = task_.tips;
  const double tip_step = tips.lattice.step[0].norm();
  const std::array<Vec3, 3> axes{task_.sheaf.first(), task_.sheaf.second(), task_.sheaf.middle()};
  lattice_.origin = tips.lattice.origin + ((tips.low.z() - 1) * tip_step + end_shift_ - first_end_ * along_) * axes[2];
  lattice_.step[2] = along_ * axes[2];
  lattice_.size[2] = first_end_ + ends_;
  for (std::size_t a = 0; a < 2; ++a) {
    const auto e = static_cast<Eigen::Index>(a);
    constexpr int kBesideTips = 2;
    const int margin = static_cast<int>(std::ceil(task_.sheaf.slope()[a] * reach_mm / across_)) + 3;
    lattice_.size[a] = static_cast<int>(std::ceil((tips.high[e] - tips.low[e] + 2) * tip_step / across_)) + 1 + 2 * margin;
    lattice_.step[a] = across_ * axes[a];
    tips_.first[a] = margin - kBesideTips;
    tips_.end[a] = lattice_.size[a] - tips_.first[a];
    lattice_.origin += ((tips.low[e] - 1) * tip_step - margin * across_) * axes[a];
  }
}

/// From the plane where the hands are to the steel's ends in the layers from `from` to before `to`.
void SheafSweep::sweep(int from, int to) {
  weights_.assign(plane(), 0.0f);
  unspent_.assign(run_index(lattice_.size[0] - 1, lattice_.size[1] - 1) + 1, 0);
  in_opening_.assign(plane(), 0);
  dearer_.assign(plane(), WanderingCosts::kNoEntry);
  started_ = false;
  const auto cap = static_cast<float>(task_.cap_mm);
  const int first = first_solid(from - first_end_, from);
  costs_ = WanderingCosts({{lattice_.size[0], lattice_.size[1]}, task_.sheaf.slope(), along_, across_, most_touch_mm_, cap, spacing_of(across_, needle_), ground_.has_openings()},
                          free_hands(from - first_end_, first));
  for (int k = first; k < to; ++k) {
    if (find_openings(k)) costs_.open(in_opening_);
    if (take_entering(k)) costs_.enter(dearer_);
    if (k >= from) keep(k - first_end_);
    if (k + 1 == to) break;
    costs_.look_for_unspent();
    if (costs_.unspent().empty()) {
      const std::size_t rest = static_cast<std::size_t>(std::max(k + 1, from) - first_end_);
      std::fill(kept_.begin() + static_cast<std::ptrdiff_t>(tips_.count() * rest),
                kept_.begin() + static_cast<std::ptrdiff_t>(tips_.count() * static_cast<std::size_t>(to - first_end_)), cap);
      break;
    }
    const bool any = sample(k);
    started_ |= any;
    if (!started_) continue;
    costs_.advance(weights_, any);
    points_ += static_cast<double>(costs_.unspent().count());
  }
}

/// The first layer near which there is anything of weight, but `last` at the most.
int SheafSweep::first_solid(int k, int last) const {
  const int ni = lattice_.size[0], nj = lattice_.size[1], apart = std::max(1, static_cast<int>(SweepGround::kBlock_mm / 2 / across_));
  const int ahead = std::max(1, static_cast<int>(SweepGround::kBlock_mm / 2 / along_));
  for (; k < last; k += ahead)
    for (int j = 0; j < nj + apart; j += apart)
      for (int i = 0; i < ni + apart; i += apart)
        if (ground_.is_solid(lattice_.at(std::min(i, ni - 1), std::min(j, nj - 1), k))) return std::max(0, k - ahead);
  return std::min(k, last);
}

/// Where axes may be in layer `at` whose hands have room in layer `k`, before it. Looked at a few points at a time, for a hand is wide.
LayerFlags SheafSweep::free_hands(int k, int at) const {
  constexpr double kTogether_mm = 2;
  const int ni = lattice_.size[0], nj = lattice_.size[1], together = std::max(1, static_cast<int>(kTogether_mm / across_));
  LayerFlags free(plane());
  for (int j = 0; j < nj; j += together)
    for (int i = 0; i < ni; i += together) {
      const Vec3 middle = lattice_.at(i, j, k) + (together - 1) / 2.0 * (lattice_.step[0] + lattice_.step[1]);
      if (!hand_is_free(middle, (together + 1) / 2.0 * across_)) continue;
      for (int b = j; b < std::min(nj, j + together); ++b)
        for (int a = i; a < std::min(ni, i + together); ++a) free[lattice_.offset(a, b, 0)] = 1;
    }
  for (std::size_t axis = 0; axis < 2; ++axis) {
    const int steps = static_cast<int>(std::ceil(task_.sheaf.slope()[axis] * (at - k) * along_ / across_));
    for (int n = 0; n < steps; ++n) spread(free, {ni, nj}, static_cast<int>(axis));
  }
  return free;
}

/// Whether nothing is in the way of a hand whose needle passes within `room_mm` of a point along either axis, for all tips of a slab.
bool SheafSweep::hand_is_free(const Vec3& p, double room_mm) const {
  constexpr int kAround = 16;
  constexpr double kBetweenPlanes_mm = 20;
  static const std::array<std::array<double, 2>, kAround> ring = [] {   // on two circles in turn
    std::array<std::array<double, 2>, kAround> points;
    for (int n = 0; n < kAround; ++n) {
      const double angle = 2 * std::numbers::pi * n / kAround, share = n % 2 == 0 ? 1 : 0.6;
      points[static_cast<std::size_t>(n)] = {share * std::cos(angle), share * std::sin(angle)};
    }
    return points;
  }();
  const SearchScene& scene = ground_.scene();
  const Sheaf& sheaf = task_.sheaf;
  const auto is_air = [&](const Vec3& q) { return scene.material_at(scene.from_box(q)) == Material::air; };
  for (double back = 0; back <= kHandLengthMm - kHubRoom_mm - slab_mm_; back += kBetweenPlanes_mm) {
    const double radius = kHandRadiusMm - 1 - std::numbers::sqrt2 * room_mm - back * std::hypot(sheaf.slope()[0], sheaf.slope()[1]);
    const Vec3 middle = p - back * sheaf.middle();
    if (radius <= 0) break;
    if (!is_air(middle)) return false;
    for (const auto& [a, b] : ring)
      if (!is_air(middle + radius * (a * sheaf.first() + b * sheaf.second()))) return false;
  }
  return true;
}

/// Where axes may enter: past a patch that an axis within a step of a point and half a layer of it may meet.
void SheafSweep::find_entering() {
  constexpr double kRadian = std::numbers::pi / 180, kRounding_mm = 1e-3;
  const Sheaf& sheaf = task_.sheaf;
  const double hole_mm = ground_.scene().file().weights.hole_mm;
  const double least_cosine = std::cos(ground_.scene().file().limits.entry_angle_deg * kRadian);
  const double off = EntryPatches::kBeyondConeDeg * kRadian + std::atan(std::hypot(sheaf.slope()[0], sheaf.slope()[1]));
  const double cosine_off = std::cos(off), sine_off = std::sin(off);
  const std::array<Vec3, 3> axes{sheaf.first(), sheaf.second(), sheaf.middle()};
  const Vec3 steps(across_, across_, along_);
  const double half_layer_mm = along_ / 2 + kRounding_mm;
  const Vec3 room(across_ + sheaf.slope()[0] * half_layer_mm, across_ + sheaf.slope()[1] * half_layer_mm, half_layer_mm);
  const Vec3 last(lattice_.size[0] - 1, lattice_.size[1] - 1, lattice_.size[2] - 1);
  entering_.resize(static_cast<std::size_t>(lattice_.size[2]));
  const Vec3 half = steps.cwiseProduct(last) / 2 + room;
  const Vec3 middle = lattice_.origin + (lattice_.size[0] - 1) / 2.0 * lattice_.step[0] + (lattice_.size[1] - 1) / 2.0 * lattice_.step[1] +
                      (lattice_.size[2] - 1) / 2.0 * lattice_.step[2];
  const Eigen::Vector3f middle_direction = sheaf.middle().cast<float>();
  ground_.patches().for_each_near(middle, axes, half, [&](const EntryPatch& patch) {
    const float along = patch.inward.dot(middle_direction);
    if (along < -0.7f && patch.cosine > 0.9f) return;   // all of its normals look away
    const double best = cosine_less(static_cast<double>(along), static_cast<double>(patch.cosine), static_cast<double>(patch.sine));
    const double cosine = cosine_less(best, cosine_off, sine_off);
    if (cosine < least_cosine) return;
    std::array<int, 3> from, to;
    for (std::size_t a = 0; a < 3; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      const double at = (patch.middle.cast<double>() - lattice_.origin).dot(axes[a]);
      const double reach = patch.half.cast<double>().dot(axes[a].cwiseAbs()) + room[e] + kRounding_mm;
      from[a] = std::max(0, static_cast<int>(std::ceil((at - reach) / steps[e])));
      to[a] = std::min(lattice_.size[a] - 1, static_cast<int>(std::floor((at + reach) / steps[e])));
      if (to[a] < from[a]) return;
    }
    const auto dearer = static_cast<float>(hole_mm * (1 / std::max(kSteepest, cosine) - 1));
    for (int k = from[2]; k <= to[2]; ++k)
      entering_[static_cast<std::size_t>(k)].push_back({{from[0], from[1]}, {to[0], to[1]}, dearer});
  });
}

bool SheafSweep::take_entering(int k) {
  const std::vector<Entering>& here = entering_[static_cast<std::size_t>(k)];
  if (here.empty()) return false;
  std::ranges::fill(dearer_, WanderingCosts::kNoEntry);
  for (const Entering& e : here)
    for (int j = e.first[1]; j <= e.last[1]; ++j) {
      float* const row = dearer_.data() + lattice_.offset(0, j, 0);
      for (int i = e.first[0]; i <= e.last[0]; ++i) row[i] = std::min(row[i], e.dearer);
    }
  return true;
}

bool SheafSweep::find_openings(int k) {
  if (!ground_.has_openings()) return false;
  bool any = false;
  std::ranges::fill(in_opening_, std::uint8_t{0});
  const double half_run = run_ * across_ / 2;
  const int parts = spacing_of(across_, needle_) == Spacing::fine ? 1 : static_cast<int>(std::ceil(across_ / needle_.outer_mm)) + 1;   // of a cell along either axis
  const auto in_opening = [&](const Vec3& p) {
    const auto off = [&](int part) { return (part + 0.5) / parts - 0.5; };
    for (int b = 0; b < parts; ++b)
      for (int a = 0; a < parts; ++a)
        if (ground_.in_opening(p + off(a) * lattice_.step[0] + off(b) * lattice_.step[1])) return true;
    return false;
  };
  for_each_run({{0, 0}, {lattice_.size[0], lattice_.size[1]}}, [&](int i, int j, int count) {
    if (!ground_.opening_near(lattice_.at(i, j, k) + half_run * task_.sheaf.first(), half_run)) return;
    for (int m = 0; m < count; ++m)
      if (in_opening(lattice_.at(i + m, j, k))) in_opening_[lattice_.offset(i + m, j, 0)] = 1, any = true;
  });
  return any;
}

bool SheafSweep::sample(int k) {
  const LayerWindow where = costs_.unspent().grown(2, {{0, 0}, {lattice_.size[0], lattice_.size[1]}});
  bool any = false;
  find_unspent(where);
  for_each_run(where, [&](int i, int j, int count) {
    const std::size_t n = lattice_.offset(i, j, 0), size = static_cast<std::size_t>(count);
    const Vec3 from = lattice_.at(i, j, k) + lattice_.step[2] / 2;
    const bool live = ground_.is_solid(from + static_cast<double>(count - 1) / 2 * lattice_.step[0]) && unspent_near(i, j);
    const std::span<float> weights(weights_.data() + n, size);
    if (live) ground_.weights().at_row(across_, from, lattice_.step[0], weights);
    else std::ranges::fill(weights, 0.0f);
    any |= live && std::any_of(weights_.data() + n, weights_.data() + n + size, [](float w) { return w != 0; });
  });
  return any;
}

void SheafSweep::find_unspent(const LayerWindow& where) {
  std::ranges::fill(unspent_, std::uint8_t{0});
  for_each_run(where, [&](int i, int j, int count) {
    unspent_[run_index(i, j)] = costs_.is_spent(lattice_.offset(i, j, 0), static_cast<std::size_t>(count)) ? 0 : 1;
  });
}

/// Whether a run or one beside it is unspent: then its weights are among those that needles may meet.
bool SheafSweep::unspent_near(int i, int j) const {
  for (int b = std::max(0, j - 1); b <= std::min(lattice_.size[1] - 1, j + 1); ++b)
    for (int a = std::max(0, i - run_); a <= std::min(lattice_.size[0] - 1, i + run_); a += run_)
      if (unspent_[run_index(a, b)] != 0) return true;
  return false;
}

void SheafSweep::keep(int end) {
  const std::vector<float> costs = costs_.costs();
  auto to = static_cast<std::ptrdiff_t>(tips_.count() * static_cast<std::size_t>(end));
  const std::ptrdiff_t width = tips_.end[0] - tips_.first[0];
  for (int j = tips_.first[1]; j < tips_.end[1]; ++j, to += width) {
    const auto from = static_cast<std::ptrdiff_t>(lattice_.offset(tips_.first[0], j, 0));
    std::copy_n(costs.begin() + from, width, kept_.begin() + to);
    if (!kept_open_.empty()) std::copy_n(costs_.opened().begin() + from, width, kept_open_.begin() + to);
  }
}

/// What a needle displaces whose steel ends at `end`, and whose kept cost is that of a kernel wholly before: with at least
/// the least weight over its last radius; or going on to the end, less what the kernel then counts from beyond it. A kernel's
/// mass is spread along an axis as 2 sqrt(R^2 - x^2) / (pi R^2); 2 R / (3 pi) is how much of it is beyond on the last radius.
float SheafSweep::cost_of_end(std::size_t n, const Vec3& end) const {
  constexpr float kBeyond = 0.2122f;
  const auto radius = static_cast<float>(radius_);
  const std::size_t on = n + tips_.count() * static_cast<std::size_t>(beyond_);
  return std::max(kept_[n] + radius * ground_.least_weight_at(end), kept_[on] - kBeyond * radius * ground_.most_weight_at(end));
}

std::vector<float> SheafSweep::chances_at(const Lattice& ends) const {
  std::vector<float> chance(ends.count());
  for (int k = 0; k < ends_; ++k)
    for (int j = 0; j < ends.size[1]; ++j)
      task_.tips.at_row(ends.at(0, j, k), across_, {chance.data() + ends.offset(0, j, k), static_cast<std::size_t>(ends.size[0])});
  return chance;
}

/// No chance where a tip's neighbours, too, would leave the side asked for.
void SheafSweep::leave_out_other_side(const Lattice& ends, int side, std::vector<float>& chance) const {
  const double near = 2 * task_.tips.lattice.step[0].norm(), off = kSideMargin_mm + needle_.bore_mm / 2 - near;
  const SearchScene& scene = ground_.scene();
  const auto least = static_cast<float>(task_.least_chance);
  if (side == 0 || off_midline(scene, task_.box, side).least > off + kMidlineBend_mm + 2 * near) return;
  for (int k = 0; k < ends_; ++k)
    for (int j = 0; j < ends.size[1]; ++j)
      for (int i = 0; i < ends.size[0]; ++i) {
        float& value = chance[ends.offset(i, j, k)];
        if (value >= least && side * scene.left_mm(scene.from_box(ends.at(i, j, k))).value_or(0) < off) value = 0;
      }
}

/// The least cost over all tips that may be enough. Between lattice points cost and chance are linear, so that for any
/// price of chance the least of cost + price (limit - chance) over the points bounds it.
std::vector<SheafCost> SheafSweep::judge(const Lattice& ends, const std::vector<float>& chance) const {
  using Prices = std::array<float, kPrices.size()>;
  const auto least_chance = static_cast<float>(task_.least_chance), of_wanted = static_cast<float>(ground_.weight_of_wanted());
  const LayerFlags border = border_of(ends.size, chance, least_chance);
  Prices none;
  none.fill(std::numeric_limits<float>::infinity());
  std::vector<std::array<Prices, 2>> least(task_.box.cube_count(), {none, none});
  for (int k = 0; k < ends_ - beyond_; ++k)
    for (int j = 0; j < ends.size[1]; ++j)
      for (int i = 0; i < ends.size[0]; ++i) {
        const std::size_t n = ends.offset(i, j, k);
        if (border[n] == 0) continue;
        const Vec3 tip = ends.at(i, j, k);
        const float cost = cost_of_end(n, tip + needle_.dead_tip_mm * task_.sheaf.middle());
        const std::size_t way = kept_open_.empty() || kept_open_[n] == 0 ? 0 : 1;
        task_.box.for_each_near(tip, 1.8 * across_, [&](std::size_t cube) {
          Prices& of = least[cube][way];
          for (std::size_t q = 0; q < kPrices.size(); ++q)
            of[q] = std::min(of[q], cost + kPrices[q] * of_wanted * (least_chance - chance[n]));
        });
      }
  std::vector<SheafCost> costs;
  for (const auto& [plain, opening] : least)
    costs.push_back({static_cast<double>(*std::ranges::max_element(plain)), static_cast<double>(*std::ranges::max_element(opening))});
  return costs;
}

}  // namespace leastharm
