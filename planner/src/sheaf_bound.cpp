#include "sheaf_bound.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

#include "planner/entry.h"
#include "planner/sides.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kBlock_mm = 8;

const Mark* cavity_mark(const SearchScene& scene, const Ask& ask) {
  return ask.request->cavity.empty() ? nullptr : scene.body().find_mark(ask.request->cavity);
}

/// Extreme of each voxel's box of `reach` voxels around, along one axis after the other.
template <typename T, typename Pick>
void filter(const Grid& grid, std::vector<T>& values, const std::array<int, 3>& reach, const Pick& pick) {
  for (int axis = 0; axis < 3; ++axis) {
    const int r = reach[static_cast<std::size_t>(axis)], size = grid.size[static_cast<std::size_t>(axis)];
    if (r == 0) continue;
    const std::size_t stride = axis == 0 ? 1 : axis == 1 ? grid.offset(0, 1, 0) : grid.offset(0, 0, 1);
    const std::vector<T> from = values;
    for_each_chunk(values.size(), 1 << 16, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n) {
        const int at = static_cast<int>(n / stride % static_cast<std::size_t>(size));
        T best = from[n];
        for (int s = std::max(-r, -at); s <= std::min(r, size - 1 - at); ++s)
          best = pick(best, from[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(n) + s * static_cast<std::ptrdiff_t>(stride))]);
        values[n] = best;
      }
    });
  }
}

}  // namespace

SheafBound::SheafBound(const SearchScene& scene, std::size_t ask, int side)
    : scene_(scene), ask_(scene.asks()[ask]), side_(side),
      far_cones_(scene, 4), near_cones_(scene, 1.4) {
  // The chance that `assess` prints is counted over draws, with a standard error of 0.002; the shift of the core leaves out
  // its turn (tests/planner/certificate_test.cpp holds both together).
  constexpr double kCounting = 0.008, kModel = 0.003;
  least_chance_ = ask_.least_need_mg > 0 ? scene.file().limits.p_enough_min - kCounting - kModel : 0;   // others of a pool may make up for it
  weight_of_wanted_ = 1e9;
  for (std::size_t m = 1; m < kMaterialCount; ++m)
    if (ask_.request->wants(static_cast<Material>(m))) weight_of_wanted_ = std::min(weight_of_wanted_, scene.file().weights.material[m]);
  make_blocks();
  make_openings();
  make_least_weights();
}

void SheafBound::make_blocks() {
  const Grid& grid = scene_.box_grid();
  const std::vector<float>& weights = scene_.weights().values;
  for (std::size_t a = 0; a < 3; ++a)
    blocks_.size[a] = static_cast<int>((grid.size[a] * grid.spacing_mm[static_cast<Eigen::Index>(a)]) / kBlock_mm) + 1;
  solid_.assign(blocks_.voxel_count(), 0);
  wanted_ = solid_;
  const Mark* cavity = cavity_mark(scene_, ask_);
  const Box& box = scene_.box();
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i)
        if (weights[grid.offset(i, j, k)] > 0) {
          const Vec3 p = Vec3(i, j, k).cwiseProduct(grid.spacing_mm) / kBlock_mm;
          const std::size_t block = blocks_.offset(static_cast<int>(p.x()), static_cast<int>(p.y()), static_cast<int>(p.z()));
          solid_[block] = 1;
          if (is_wanted(scene_.body(), *ask_.request, cavity, {i + box.low.i, j + box.low.j, k + box.low.k})) wanted_[block] = 1;
        }
  // A run of points is looked up by its middle: what lies within the needle, a voxel and half the run of it counts.
  const double reach = ask_.needle->outer_mm / 2 + 2 * grid.spacing_mm.maxCoeff() + kBlock_mm / 2;
  const int blocks = static_cast<int>(std::ceil(reach / kBlock_mm));
  const auto most = [](std::uint8_t a, std::uint8_t b) { return std::max(a, b); };
  filter(blocks_, solid_, {blocks, blocks, blocks}, most);
  // A core reaches back from its tip over the throw, and errs.
  const int back = static_cast<int>(std::ceil((ask_.needle->throw_mm + 3 * scene_.file().placement.placement_mm) / kBlock_mm));
  filter(blocks_, wanted_, {back, back, back}, most);
}

void SheafBound::make_openings() {
  const Box& box = scene_.box();
  const Grid& grid = scene_.box_grid();
  for (const Mark& mark : scene_.body().marks) {
    if (mark.kind != MarkKind::opening) continue;
    opening_.resize(grid.voxel_count());
    for (int k = 0; k < grid.size[2]; ++k)
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i)
          if (mark.mask.contains({i + box.low.i, j + box.low.j, k + box.low.k})) opening_[grid.offset(i, j, k)] = 1;
  }
  if (opening_.empty()) return;
  filter(grid, opening_, {1, 1, 1}, [](std::uint8_t a, std::uint8_t b) { return std::max(a, b); });
  opening_low_ = Vec3::Constant(1e9);
  opening_high_ = Vec3::Constant(-1e9);
  for (int k = 0; k < grid.size[2]; ++k)
    for (int j = 0; j < grid.size[1]; ++j)
      for (int i = 0; i < grid.size[0]; ++i) {
        if (opening_[grid.offset(i, j, k)] == 0) continue;
        opening_low_ = opening_low_.cwiseMin(Vec3(i - 1, j - 1, k - 1).cwiseProduct(grid.spacing_mm));
        opening_high_ = opening_high_.cwiseMax(Vec3(i + 1, j + 1, k + 1).cwiseProduct(grid.spacing_mm));
      }
}

void SheafBound::make_least_weights() {
  const Grid& grid = scene_.box_grid();
  least_weight_ = scene_.weights().values;
  std::array<int, 3> reach;
  for (std::size_t a = 0; a < 3; ++a)
    reach[a] = static_cast<int>(std::ceil(0.75 * ask_.needle->outer_mm / grid.spacing_mm[static_cast<Eigen::Index>(a)]));
  filter(grid, least_weight_, reach, [](float a, float b) { return std::min(a, b); });
}

/// One sweep: layer by layer from outside to the tips.
class SheafSweep {
 public:
  SheafSweep(const SheafBound& bound, const Sheaf& sheaf, const TipBox& box, const TipChances& tips, double step_mm,
             double cap_mm, double least_chance)
      : bound_(bound), sheaf_(sheaf), box_(box), tips_(tips), needle_(*bound.ask_.needle), cap_(static_cast<float>(cap_mm)),
        least_chance_(static_cast<float>(least_chance)), cones_(step_mm < 2 ? bound.near_cones_ : bound.far_cones_) {
    lay_out(step_mm);
    constexpr double kNormalDeg = 5;   // between a voxel's middle and the place where the axis enters it
    const double angle = bound.scene_.file().limits.entry_angle_deg;
    half_angle_ = std::atan(std::hypot(sheaf.slope()[0], sheaf.slope()[1]));
    most_angle_ = (angle + kNormalDeg) * std::numbers::pi / 180;
    most_touch_mm_ = entry_reach_mm(radius_, angle, bound.scene_.body().grid) + 2 * (along_ + across_);
  }

  [[nodiscard]] double points() const { return static_cast<double>(lattice_.count()); }

  std::vector<SheafCost> run() {
    const int slab = std::max(1, static_cast<int>(kSlab_mm / along_));
    for (int first = 0; first < ends_; first += slab) sweep(first_end_ + first, std::min(first_end_ + ends_, first_end_ + first + slab));
    return judge();
  }

 private:
  // Tips of one sweep lie so near that their hands have a plane in common: this far behind the hub of the first.
  static constexpr double kHubRoom_mm = 2, kSlab_mm = kHandLengthMm - 2 * kHubRoom_mm - 6;

  /// From the plane where the hands are to the steel's ends `from` to `to` (layers).
  void sweep(int from, int to) {
    begin(from - first_end_);
    for (int k = first_solid(from - first_end_, from); k < to; ++k) {
      mark_openings(k);
      if (started_) enter(k);
      if (k >= from) keep(k - first_end_);
      if (k + 1 == to) break;
      if (sample(k)) advance();
      drift();
      constexpr int kEvery = 4;
      if (started_ && k % kEvery == 0 && all_spent()) {
        const std::size_t plane = lattice_.offset(0, 0, 1);
        const int rest = std::max(k + 1, from) - first_end_;
        std::fill(kept_.begin() + static_cast<std::ptrdiff_t>(plane * static_cast<std::size_t>(rest)),
                  kept_.begin() + static_cast<std::ptrdiff_t>(plane * static_cast<std::size_t>(to - first_end_)), cap_);
        break;
      }
    }
  }

  /// The first layer near which there is anything of weight, but `last` at the most.
  int first_solid(int k, int last) const {
    const int ni = lattice_.size[0], nj = lattice_.size[1], apart = std::max(1, static_cast<int>(kBlock_mm / 2 / across_));
    const int ahead = std::max(1, static_cast<int>(kBlock_mm / 2 / along_));
    for (; k < last; k += ahead)
      for (int j = 0; j < nj + apart; j += apart)
        for (int i = 0; i < ni + apart; i += apart)
          if (is_solid(lattice_.at(std::min(i, ni - 1), std::min(j, nj - 1), k))) return std::max(0, k - ahead);
    return std::min(k, last);
  }

  /// Nothing displaced yet; but no needle is where the hand would meet something.
  void begin(int k) {
    const std::size_t plane = lattice_.offset(0, 0, 1);
    outside_.assign(plane, 0.0f);
    touching_.assign(plane, 0.0f);
    cost_.assign(plane, cap_);
    through_.assign(bound_.opening_.empty() ? 0 : plane, 0);
    weights_.assign(plane, 0.0f);
    spare_.assign(plane, 0.0f);
    live_.assign(live_index(lattice_.size[0] - 1, lattice_.size[1] - 1) + 1, 0);
    unspent_ = live_;
    started_ = false;
    off_ = {0, 0};
    drifts_ = {0, 0};
    for (int j = 0; j < lattice_.size[1]; ++j)
      for (int i = 0; i < lattice_.size[0]; ++i)
        if (!hand_is_free(lattice_.at(i, j, k))) outside_[lattice_.offset(i, j, 0)] = cap_;
  }

  /// Whether nothing is in the way of a hand whose needle passes within a step of a point, for all tips of a slab.
  bool hand_is_free(const Vec3& p) const {
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
    const SearchScene& scene = bound_.scene_;
    const auto is_air = [&](const Vec3& q) { return scene.material_at(scene.from_box(q)) == Material::air; };
    for (double back = 0; back <= kHandLengthMm - kHubRoom_mm - slab_mm_; back += kBetweenPlanes_mm) {
      const double radius = kHandRadiusMm - 1 - std::numbers::sqrt2 * across_ - back * std::hypot(sheaf_.slope()[0], sheaf_.slope()[1]);
      const Vec3 middle = p - back * sheaf_.middle();
      if (radius <= 0) break;
      if (!is_air(middle)) return false;
      for (const auto& [a, b] : ring)
        if (!is_air(middle + radius * (a * sheaf_.first() + b * sheaf_.second()))) return false;
    }
    return true;
  }

  /// Points along from where no needle for these tips has entered yet, and across so wide that what comes in from the border
  /// does not get to the tips.
  void lay_out(double step_mm) {
    radius_ = needle_.outer_mm / 2;
    constexpr double kFinestAlong_mm = 0.7;   // weights are averaged over millimetres
    along_ = radius_ / std::ceil(radius_ / std::max(step_mm, kFinestAlong_mm));
    across_ = step_mm;
    run_ = std::clamp(static_cast<int>(kBlock_mm / step_mm), 2, 16);
    // Where the steel ends with its round kernel wholly before its flat end.
    end_shift_ = needle_.dead_tip_mm - radius_;
    const double tip_step = tips_.lattice.step[2].norm();
    ends_ = static_cast<int>(std::ceil((tips_.high.z() - tips_.low.z() + 2) * tip_step / along_)) + 1;
    slab_mm_ = std::min(kSlab_mm, ends_ * along_);
    // At the beginning of a slab's sweep the hand is there, whichever of its tips the needle is for.
    first_end_ = static_cast<int>(std::ceil((needle_.usable_mm + kHubRoom_mm) / along_));
    // Directions wander only from where there is something to meet: most sweeps do with a narrow margin.
    for (const double reach_mm : {40.0, 80.0, needle_.usable_mm}) {
      lay_across(reach_mm);
      const int last = first_end_ + ends_;
      if (ends_ * along_ <= kSlab_mm && (last - first_solid(0, last)) * along_ <= reach_mm) break;
    }
    kept_.assign(lattice_.offset(0, 0, 1) * static_cast<std::size_t>(ends_), 0.0f);
    kept_through_.assign(bound_.opening_.empty() ? 0 : kept_.size(), 0);
  }

  void lay_across(double reach_mm) {
    const Lattice& t = tips_.lattice;   // the tips' own
    const double tip_step = t.step[0].norm();
    const std::array<Vec3, 3> axes{sheaf_.first(), sheaf_.second(), sheaf_.middle()};
    lattice_.origin = t.origin + ((tips_.low.z() - 1) * tip_step + end_shift_ - first_end_ * along_) * axes[2];
    lattice_.step[2] = along_ * axes[2];
    lattice_.size[2] = first_end_ + ends_;
    for (std::size_t a = 0; a < 2; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      const int margin = static_cast<int>(std::ceil(sheaf_.slope()[a] * reach_mm / across_)) + 3;
      lattice_.size[a] = static_cast<int>(std::ceil((tips_.high[e] - tips_.low[e] + 2) * tip_step / across_)) + 1 + 2 * margin;
      lattice_.step[a] = across_ * axes[a];
      lattice_.origin += ((tips_.low[e] - 1) * tip_step - margin * across_) * axes[a];
    }
  }

  /// Weights half a step beyond layer k, where they can still matter; whether there are any.
  bool sample(int k) {
    const RefinedField& field = *bound_.ask_.cost;
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    bool any = false;
    find_unspent();
    for (int j = 0; j < nj; ++j) {
      const Vec3 row = lattice_.at(0, j, k) + lattice_.step[2] / 2;
      for (int i = 0; i < ni; i += run_) {
        const std::size_t n = lattice_.offset(i, j, 0), count = static_cast<std::size_t>(std::min(run_, ni - i));
        const Vec3 from = row + i * lattice_.step[0];
        const bool live = is_solid(from + static_cast<double>(count - 1) / 2 * lattice_.step[0]) && unspent_near(i / run_, j);
        live_[live_index(i, j)] = live ? 1 : 0;
        if (live) field.at_row(from, lattice_.step[0], {weights_.data() + n, count});
        else std::fill_n(weights_.data() + n, count, 0.0f);
        any |= live && std::any_of(weights_.data() + n, weights_.data() + n + count, [](float w) { return w != 0; });
      }
    }
    started_ |= any;
    return any;
  }

  void find_unspent() {
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    for (int j = 0; j < nj; ++j)
      for (int i = 0; i < ni; i += run_)
        unspent_[live_index(i, j)] = is_spent(lattice_.offset(i, j, 0), static_cast<std::size_t>(std::min(run_, ni - i))) ? 0 : 1;
  }

  /// Whether a run or one beside it is unspent: then its weights are among those that needles may meet.
  bool unspent_near(int run, int j) const {
    const int runs = (lattice_.size[0] + run_ - 1) / run_;
    for (int b = std::max(0, j - 1); b <= std::min(lattice_.size[1] - 1, j + 1); ++b)
      for (int a = std::max(0, run - 1); a <= std::min(runs - 1, run + 1); ++a)
        if (unspent_[static_cast<std::size_t>(a + runs * b)] != 0) return true;
    return false;
  }

  /// Whether a run costs more than is told apart already.
  bool is_spent(std::size_t n, std::size_t count) const {
    for (std::size_t m = n; m < n + count; ++m)
      if (cost_[m] < cap_ || outside_[m] < cap_) return false;
    return true;
  }

  /// Whether nothing can come to the tips any more: all is spent but what came in from the border.
  bool all_spent() const {
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    const int a = std::min(drifts_[0] + 3, ni / 2), b = std::min(drifts_[1] + 3, nj / 2);
    for (int j = b; j < nj - b; ++j)
      if (!is_spent(lattice_.offset(a, j, 0), static_cast<std::size_t>(std::max(0, ni - 2 * a)))) return false;
    return true;
  }

  std::size_t live_index(int i, int j) const {
    const int runs = (lattice_.size[0] + run_ - 1) / run_;
    return static_cast<std::size_t>(i / run_ + runs * j);
  }

  bool is_solid(const Vec3& p) const {
    const Vec3 b = p / kBlock_mm;
    const int i = static_cast<int>(std::floor(b.x())), j = static_cast<int>(std::floor(b.y())), k = static_cast<int>(std::floor(b.z()));
    return bound_.blocks_.contains({i, j, k}) && bound_.solid_[bound_.blocks_.offset(i, j, k)] != 0;
  }

  /// Least of each point and its neighbours along one axis across; beyond the border lies 0.
  void least_along(int axis, std::vector<float>& values) {
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    const auto row_of = [&](std::vector<float>& v, int j) { return v.data() + static_cast<std::ptrdiff_t>(j) * ni; };
    for (int j = 0; j < nj; ++j) {
      const float* here = row_of(values, j);
      float* out = row_of(spare_, j);
      if (axis == 0) {
        out[0] = out[ni - 1] = 0;
        for (int i = 1; i + 1 < ni; ++i) out[i] = std::min(here[i], std::min(here[i - 1], here[i + 1]));
      } else if (j == 0 || j == nj - 1) {
        std::fill_n(out, ni, 0.0f);
      } else {
        const float *before = row_of(values, j - 1), *after = row_of(values, j + 1);
        for (int i = 0; i < ni; ++i) out[i] = std::min(here[i], std::min(before[i], after[i]));
      }
    }
    std::swap(values, spare_);
  }

  void advance() {
    least_along(0, weights_);
    least_along(1, weights_);
    const auto step = static_cast<float>(along_), most = static_cast<float>(most_touch_mm_);
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      cost_[n] = std::min(cap_, cost_[n] + step * weights_[n]);
      outside_[n] = std::min(cap_, outside_[n] + step * weights_[n]);
    }
    constexpr float kTouch_mm = 0.02f;
    for (std::size_t n = 0; n < cost_.size(); ++n) {
      touching_[n] = outside_[n] > kTouch_mm ? touching_[n] + step : 0;
      if (touching_[n] > most) outside_[n] = cap_;
    }
  }

  /// Needles that have not entered yet enter wherever the surface lets one of the sheaf in.
  void enter(int k) {
    const int ni = lattice_.size[0];
    for (int j = 0; j < lattice_.size[1]; ++j)
      for (int first = 0; first < ni; first += run_) {
        if (live_[live_index(first, j)] == 0) continue;
        for (int i = first; i < std::min(first + run_, ni); ++i) {
          const std::size_t n = lattice_.offset(i, j, 0);
          if (outside_[n] < cost_[n] && cones_.may_enter(lattice_.at(i, j, k), sheaf_.middle(), half_angle_, most_angle_)) cost_[n] = outside_[n];
        }
      }
  }

  /// Lets the sheaf's directions wander one point across, once they may have come so far.
  void drift() {
    if (!started_) return;
    for (int axis = 0; axis < 2; ++axis) {
      const auto a = static_cast<std::size_t>(axis);
      off_[a] += sheaf_.slope()[a] * along_;
      if (off_[a] + sheaf_.slope()[a] * along_ <= across_) continue;
      least_along(axis, cost_);
      least_along(axis, outside_);
      least_along(axis, touching_);
      if (!through_.empty()) spread_along(axis, through_);
      off_[a] = 0;
      ++drifts_[a];
    }
  }

  void spread_along(int axis, std::vector<std::uint8_t>& flags) const {
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    const std::vector<std::uint8_t> from = flags;
    const std::ptrdiff_t stride = axis == 0 ? 1 : ni;
    for (int j = 1; j + 1 < nj; ++j)
      for (int i = 1; i + 1 < ni; ++i) {
        const std::ptrdiff_t n = static_cast<std::ptrdiff_t>(j) * ni + i;
        flags[static_cast<std::size_t>(n)] = from[static_cast<std::size_t>(n)] | from[static_cast<std::size_t>(n - stride)] | from[static_cast<std::size_t>(n + stride)];
      }
  }

  void mark_openings(int k) {
    if (through_.empty()) return;
    const Grid& grid = bound_.scene_.box_grid();
    const Vec3 inverse = grid.spacing_mm.cwiseInverse();
    const double half_run = run_ * across_ / 2;
    for (int j = 0; j < lattice_.size[1]; ++j)
      for (int first = 0; first < lattice_.size[0]; first += run_) {
        const Vec3 middle = lattice_.at(first, j, k) + half_run * sheaf_.first();
        if (((middle - bound_.opening_low_).array() < -half_run).any() || ((middle - bound_.opening_high_).array() > half_run).any()) continue;
        for (int i = first; i < std::min(first + run_, lattice_.size[0]); ++i) {
          const Vec3 p = lattice_.at(i, j, k).cwiseProduct(inverse);
          const VoxelIndex v{static_cast<int>(std::floor(p.x() + 0.5)), static_cast<int>(std::floor(p.y() + 0.5)), static_cast<int>(std::floor(p.z() + 0.5))};
          if (grid.contains(v)) through_[lattice_.offset(i, j, 0)] |= bound_.opening_[grid.offset(v)];
        }
      }
  }

  void keep(int end) {
    const std::size_t plane = lattice_.offset(0, 0, 1), to = plane * static_cast<std::size_t>(end);
    std::vector<float> cost = cost_;
    std::vector<std::uint8_t> through = through_;
    for (int axis = 0; axis < 2; ++axis)
      if (off_[static_cast<std::size_t>(axis)] > 0) {
        least_along(axis, cost);
        if (!through.empty()) spread_along(axis, through);
      }
    std::ranges::copy(cost, kept_.begin() + static_cast<std::ptrdiff_t>(to));
    std::ranges::copy(through, kept_through_.begin() + static_cast<std::ptrdiff_t>(through.empty() ? 0 : to));
  }

  /// The least cost over all tips that may be enough. Between lattice points cost and chance are linear, so that for any
  /// price of chance the least of cost + price (limit - chance) over the points bounds it.
  std::vector<SheafCost> judge() const {
    using Prices = std::array<float, kPrices.size()>;
    const int ni = lattice_.size[0], nj = lattice_.size[1];
    const Lattice ends{lattice_.at(0, 0, first_end_) - end_shift_ * sheaf_.middle(), lattice_.step, {ni, nj, ends_}};
    std::vector<float> chance(ends.count());
    for (int k = 0; k < ends_; ++k)
      for (int j = 0; j < nj; ++j)
        tips_.at_row(ends.at(0, j, k), across_, {chance.data() + ends.offset(0, j, k), static_cast<std::size_t>(ni)});
    const std::vector<std::uint8_t> border = border_of(ends.size, chance, least_chance_);
    Prices none;
    none.fill(std::numeric_limits<float>::infinity());
    std::vector<std::array<Prices, 2>> least(box_.cube_count(), {none, none});
    for (int k = 0; k < ends_; ++k)
      for (int j = 0; j < nj; ++j)
        for (int i = 0; i < ni; ++i) {
          const std::size_t n = ends.offset(i, j, k);
          if (border[n] == 0) continue;
          const Vec3 tip = ends.at(i, j, k);
          const float cost = kept_[n] + static_cast<float>(radius_) * least_weight_at(tip + needle_.dead_tip_mm * sheaf_.middle());
          const std::size_t way = kept_through_.empty() || kept_through_[n] == 0 ? 0 : 1;
          box_.for_each_near(tip, 1.8 * across_, [&](std::size_t cube) {
            Prices& of = least[cube][way];
            for (std::size_t q = 0; q < kPrices.size(); ++q)
              of[q] = std::min(of[q], cost + kPrices[q] * static_cast<float>(bound_.weight_of_wanted_) * (least_chance_ - chance[n]));
          });
        }
    std::vector<SheafCost> costs;
    for (const auto& [plain, opening] : least)
      costs.push_back({static_cast<double>(*std::ranges::max_element(plain)), static_cast<double>(*std::ranges::max_element(opening))});
    return costs;
  }

  float least_weight_at(const Vec3& p) const {
    const Grid& grid = bound_.scene_.box_grid();
    const Vec3 c = p.cwiseQuotient(grid.spacing_mm) + Vec3::Constant(0.5);
    const VoxelIndex v{static_cast<int>(std::floor(c.x())), static_cast<int>(std::floor(c.y())), static_cast<int>(std::floor(c.z()))};
    return grid.contains(v) ? bound_.least_weight_[grid.offset(v)] : 0.0f;
  }

  static constexpr std::array<float, 5> kPrices{0, 4, 8, 16, 32};   // mm of what is wanted for certainty instead of none
  const SheafBound& bound_;
  const Sheaf& sheaf_;
  const TipBox& box_;
  const TipChances& tips_;
  const Needle& needle_;
  float cap_, least_chance_;
  const EntryCones& cones_;
  double half_angle_ = 0, most_angle_ = 0, most_touch_mm_ = 0;
  Lattice lattice_;
  int run_ = 1;   // points of a row that are looked at together
  double radius_ = 1, along_ = 1, across_ = 1, end_shift_ = 0, slab_mm_ = 0;
  int first_end_ = 0, ends_ = 0;
  bool started_ = false;
  std::array<int, 2> drifts_{0, 0};
  std::array<double, 2> off_{0, 0};   // how far directions may have wandered since the last drift, mm
  std::vector<float> outside_, touching_;   // of needles that have not entered: what they displace, and how far they have touched
  std::vector<float> cost_;                 // of those that have
  std::vector<float> weights_, spare_, kept_;
  std::vector<std::uint8_t> through_, kept_through_;
  std::vector<std::uint8_t> unspent_, live_;   // by run of points: not all spent; weights were read there
};

/// Whether a tip in the box can end a core that holds anything wanted on the side asked for.
bool SheafBound::may_hold_tips(const TipBox& box) const {
  const double off = kSideMargin_mm + ask_.needle->bore_mm / 2 - 2 * kBlock_mm;   // the midline bends a little within a box
  bool on_side = side_ == 0;
  for (int c = 0; c < 8 && !on_side; ++c) {
    const Vec3 corner = box.low + box.size_mm().cwiseProduct(Vec3(c & 1, (c >> 1) & 1, c >> 2));
    on_side = side_ * scene_.left_mm(scene_.from_box(corner)).value_or(0) > off;
  }
  if (!on_side) return false;
  const Vec3 low = box.low / kBlock_mm, high = (box.low + box.size_mm()) / kBlock_mm;
  for (int k = static_cast<int>(std::floor(low.z())); k <= static_cast<int>(high.z()); ++k)
    for (int j = static_cast<int>(std::floor(low.y())); j <= static_cast<int>(high.y()); ++j)
      for (int i = static_cast<int>(std::floor(low.x())); i <= static_cast<int>(high.x()); ++i)
        if (blocks_.contains({i, j, k}) && wanted_[blocks_.offset(i, j, k)] != 0) return true;
  return false;
}

std::vector<SheafCost> SheafBound::bound(const Sheaf& sheaf, const TipBox& box, double step_mm, double cap_mm, double& points) const {
  const std::vector<SheafCost> none(box.cube_count());
  if (!may_hold_tips(box)) return none;
  // A coarse lattice is off by more (measured).
  constexpr double kFinest_mm = 0.7, kLostPer_mm = 0.045;
  const double chance_step_mm = std::clamp(1.7 * step_mm, 0.8, 4.0);
  const double least = least_chance_ - kLostPer_mm * (chance_step_mm - kFinest_mm);
  if (least <= 0) return std::vector<SheafCost>(box.cube_count(), {0, 0});   // any tip may do
  const TipChances tips = tip_chances(scene_, ask_, side_, sheaf, box, chance_step_mm, least);
  points += static_cast<double>(tips.chance.size());
  if (!tips.any) return none;
  SheafSweep sweep(*this, sheaf, box, tips, step_mm, cap_mm, least);
  points += sweep.points();
  return sweep.run();
}

}  // namespace leastharm
