#include "certify.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <tuple>
#include <type_traits>

#include "planner/crossing.h"
#include "planner/entry.h"
#include "search_dense.h"
#include "workers.h"

namespace leastharm {
namespace {

constexpr double kFirstSlope = 0.14, kFirstStep_mm = SweepWeights::kWidestStep_mm;
constexpr double kLeastSlope = 0.0015, kLeastStep_mm = 0.125;
constexpr double kCubePerStep = 18;     // cubes of tips for which bounds are told apart, in steps of the lattice
constexpr double kFieldError = 0.01;   // by which a sum of averaged weights may exceed what the cylinder displaces
constexpr std::size_t kBatch = 64;
constexpr double kTriedFrom = 0.05;    // the slope from which on a cell's middle line is tried as a track

/// A sheaf and a cube of tips.
struct Cell {
  std::size_t ask = 0;
  Sheaf sheaf;
  TipBox box;
  double slope = kFirstSlope, step_mm = kFirstStep_mm;   ///< of the sheaf, and of the lattice on which its bounds were found
  std::size_t number = 0;                                ///< the order in which it came up
  double bound = 0, without_hole = 0;
  bool through_opening = false;                          ///< whether tracks through an opening set the bound
};

/// A route and what it would cost, sure enough.
struct Priced {
  Route route;
  double price = 0;
};

/// make(value) of each, in parallel.
template <typename T, typename Make>
std::vector<std::invoke_result_t<Make, const T&>> of_each(const std::vector<T>& values, const Make& make) {
  std::vector<std::invoke_result_t<Make, const T&>> made(values.size());
  for_each_chunk(values.size(), 1, [&](std::size_t n, std::size_t) { made[n] = make(values[n]); });
  return made;
}

struct Later {
  bool operator()(const Cell& a, const Cell& b) const { return std::tie(a.bound, a.number) > std::tie(b.bound, b.number); }
};

}  // namespace

class Certifier::Search {
 public:
  Search(SweepGrounds& grounds, Certification task) : scene_(grounds.scene()), task_(std::move(task)) {
    for (const Certification::Side& side : task_.sides) sides_.push_back({side.side, side.score, {}, {}, {}});
    for (std::size_t a = 0; a < scene_.asks().size(); ++a) {
      const bool asked = scene_.asks()[a].request == task_.request;
      bounds_.push_back(asked ? std::make_unique<SheafBound>(grounds.of(a)) : nullptr);
      if (asked) add_roots(a);
    }
  }

  [[nodiscard]] bool finished(std::size_t s) const {
    return knows() && (sides_[s].open.empty() || sides_[s].open.front().bound >= target(sides_[s]));
  }
  [[nodiscard]] bool knows() const { return roots_.empty(); }
  [[nodiscard]] bool within_gap(std::size_t s) const { return finished(s) && bound(s).lower_bound >= target(sides_[s]); }
  [[nodiscard]] double points() const { return points_; }

  [[nodiscard]] SideBound bound(std::size_t s) const {
    if (!knows()) return {};
    const Side& side = sides_[s];
    // Cells left out are bounded by the target with their hole: without it by so much less.
    SideBound result{target(side), std::max(0.0, target(side) - widest_hole())};
    for (const auto* cells : {&side.open, &side.finest})
      for (const Cell& cell : *cells) {
        result.lower_bound = std::min(result.lower_bound, cell.bound);
        result.without_hole = std::min(result.without_hole, cell.without_hole);
      }
    return result;
  }

  void look_closer(std::size_t s) {
    if (!knows()) {
      constexpr std::size_t kRoots = 8;
      const auto from = roots_.end() - static_cast<std::ptrdiff_t>(std::min(kRoots, roots_.size()));
      std::vector<Side*> all;
      for (Side& side : sides_) all.push_back(&side);
      sweep({from, roots_.end()}, all);
      roots_.erase(from, roots_.end());
      return;
    }
    Side& side = sides_[s];
    std::vector<Cell> taken, parts;
    while (!side.open.empty() && parts.size() < kBatch && side.open.front().bound < target(side)) {
      std::ranges::pop_heap(side.open, Later{});
      const Cell cell = side.open.back();
      side.open.pop_back();
      if (cell.slope <= kTriedFrom) taken.push_back(cell);
      if (!divide(cell, side.best, parts)) side.finest.push_back(cell);
    }
    try_some(side, taken);
    sweep(parts, {&side});
  }

 private:
  struct Side {
    int side = 0;
    double best = 0;               ///< score of the best track known
    std::vector<Cell> open;        ///< a heap, the least bound in front
    std::vector<Cell> finest;
    std::vector<Route> tried;
  };

  [[nodiscard]] double target(const Side& side) const { return (1 - task_.gap) * side.best; }

  [[nodiscard]] double hole_of(const Needle& needle) const { return scene_.file().weights.hole_mm * hole_area_mm2(needle.outer_mm, 0); }

  [[nodiscard]] double widest_hole() const {
    double widest = 0;
    for (const Ask& ask : scene_.asks())
      if (ask.request == task_.request) widest = std::max(widest, hole_of(*ask.needle));
    return widest;
  }

  void add_roots(std::size_t ask) {
    const Box& target = scene_.target();
    const Vec3 voxel = scene_.frame().grid.spacing_mm;
    // The tip may lie beyond what is wanted; a core reaches back from it over the throw.
    const Vec3 room = 0.5 * voxel + Vec3::Constant(scene_.asks()[ask].needle->throw_mm);
    const Vec3 low = scene_.in_box(Vec3(target.low.i, target.low.j, target.low.k).cwiseProduct(voxel)) - room;
    const Vec3 high = scene_.in_box(Vec3(target.high.i, target.high.j, target.high.k).cwiseProduct(voxel)) + room;
    TipBox box{low, kCubePerStep * kFirstStep_mm, {1, 1, 1}};
    for (std::size_t a = 0; a < 3; ++a) {
      const auto e = static_cast<Eigen::Index>(a);
      box.cubes[a] = std::max(1, static_cast<int>(std::ceil((high[e] - low[e]) / box.cube_mm)));
    }
    for (const Sheaf& sheaf : all_sheaves(scene_.file().limits.tilt_deg, kFirstSlope)) roots_.push_back({ask, sheaf, box});
  }

  /// Makes the lattice finer, or the sheaf narrower: whichever costs the bound more. A coarse step loses a few steps' worth of
  /// material at a slant, a fine one what a single step aside may gain, a slope its share of the way through the object: the more
  /// there is to displace, the longer that is.
  bool divide(const Cell& cell, double best, std::vector<Cell>& parts) const {
    constexpr double kWayPerDisplaced = 2.5, kShortest_mm = 10, kLongest_mm = 40;
    const Needle& needle = *scene_.asks()[cell.ask].needle;
    const double displaced_mm = (best - (cell.through_opening ? 0 : hole_of(needle))) / hole_area_mm2(needle.outer_mm, 0);
    const double way_mm = std::clamp(kWayPerDisplaced * displaced_mm, kShortest_mm, kLongest_mm);
    Cell part = cell;
    if (spacing_of(cell.step_mm, needle) != Spacing::fine || (cell.step_mm > kLeastStep_mm && cell.step_mm > way_mm * cell.slope)) {
      part.step_mm /= 2;
      const double cube = std::min(cell.box.cube_mm, kCubePerStep * part.step_mm);
      const int count = cube < cell.box.cube_mm ? 2 : 1;
      part.box = {cell.box.low, cube, {count, count, count}};
      parts.push_back(part);
      return true;
    }
    if (cell.slope <= kLeastSlope) return false;
    part.slope /= 2;
    for (const Sheaf& sheaf : cell.sheaf.quarters()) {
      part.sheaf = sheaf;
      parts.push_back(part);
    }
    return true;
  }

  /// Bounds sheaves over boxes and opens those of their cubes in which something may be better than what is aimed at.
  void sweep(const std::vector<Cell>& swept, const std::vector<Side*>& sides) {
    std::vector<std::vector<std::vector<Cell>>> kept(swept.size());
    std::vector<double> points(swept.size(), 0);
    for_each_chunk(swept.size(), 1, [&](std::size_t n, std::size_t) { kept[n] = bounded(swept[n], sides, points[n]); });
    for (std::size_t n = 0; n < swept.size(); ++n) {
      points_ += points[n];
      for (std::size_t s = 0; s < sides.size(); ++s)
        for (Cell& cell : kept[n][s]) {
          cell.number = number_++;
          sides[s]->open.push_back(cell);
          std::ranges::push_heap(sides[s]->open, Later{});
        }
    }
  }

  /// By side, the cubes worth a closer look.
  [[nodiscard]] std::vector<std::vector<Cell>> bounded(const Cell& cell, const std::vector<Side*>& sides, double& points) const {
    const double area = hole_area_mm2(scene_.asks()[cell.ask].needle->outer_mm, 0) / (1 + kFieldError);
    std::vector<int> which;
    double cap_mm = 0;
    for (const Side* side : sides) {
      which.push_back(side->side);
      cap_mm = std::max(cap_mm, 1.02 * target(*side) / area);
    }
    const auto costs = bounds_[cell.ask]->bound(cell.sheaf, cell.box, cell.step_mm, cap_mm, which, points);
    std::vector<std::vector<Cell>> kept;
    for (std::size_t s = 0; s < sides.size(); ++s) kept.push_back(worth_opening(cell, costs[s], target(*sides[s])));
    return kept;
  }

  [[nodiscard]] std::vector<Cell> worth_opening(const Cell& cell, const std::vector<SheafCost>& costs, double target) const {
    const Needle& needle = *scene_.asks()[cell.ask].needle;
    const double area = hole_area_mm2(needle.outer_mm, 0) / (1 + kFieldError), hole = hole_of(needle);
    std::vector<Cell> kept;
    for (std::size_t c = 0; c < costs.size(); ++c) {
      const double plain = area * costs[c].plain_mm, opening = area * costs[c].opening_mm;
      Cell part = cell;
      part.box = {cell.box.low_of(c), cell.box.cube_mm, {1, 1, 1}};
      part.bound = std::max({0.0, cell.bound, std::min(plain + hole, opening)});
      part.without_hole = std::max({0.0, cell.without_hole, std::min(plain, opening)});
      part.through_opening = opening < plain + hole;
      if (part.bound < target) kept.push_back(part);
    }
    return kept;
  }

  /// Of the middle lines of some cells, refines the few best that were not tried yet, and offers the best of these if it
  /// promises to be better than what is known.
  void try_some(Side& side, const std::vector<Cell>& cells) {
    if (!task_.offer) return;
    constexpr std::size_t kFew = 4;
    constexpr double kNearEnough = 1.01;   // times what is known: what is refined must come as near to be offered
    RouteLimits limits(scene_.file().limits);
    limits.side = side.side;
    std::vector<Route> lines = of_each(cells, [&](const Cell& cell) { return middle_route(cell, limits); });
    std::ranges::stable_sort(lines, {}, &Route::score);
    std::vector<Route> promising;
    for (const Route& line : lines) {
      if (promising.size() == kFew || line.score > side.best) break;
      if (was_tried(side, line)) continue;
      promising.push_back(line);
      side.tried.push_back(line);
    }
    if (promising.empty()) return;
    const std::vector<Priced> better = of_each(promising, [&](const Route& line) { return priced(limits, refined(scene_, limits, line)); });
    const Priced& least = *std::ranges::min_element(better, {}, &Priced::price);
    if (least.price > kNearEnough * side.best) return;
    if (const auto score = task_.offer(hopped(scene_, limits, least.route))) side.best = std::min(side.best, *score);
  }

  [[nodiscard]] Priced priced(const RouteLimits& limits, const Route& route) const {
    return {route, std::isfinite(route.score) ? price_of(scene_, limits, route) : route.score};
  }

  /// Of lines that lie so near to each other one is enough.
  [[nodiscard]] static bool was_tried(const Side& side, const Route& route) {
    constexpr double kNear_mm = 3, kNearCosine = 0.9976;   // 4 degrees
    return std::ranges::any_of(side.tried, [&](const Route& t) {
      return t.ask == route.ask && t.direction.dot(route.direction) > kNearCosine && (t.tip() - route.tip()).norm() < kNear_mm;
    });
  }

  [[nodiscard]] Route middle_route(const Cell& cell, const RouteLimits& limits) const {
    const Vec3 direction = cell.sheaf.middle(), tip = scene_.from_box(cell.box.low + cell.box.size_mm() / 2);
    const double step = scene_.frame().grid.spacing_mm.minCoeff() / 2;
    for (double before = scene_.asks()[cell.ask].needle->usable_mm; before > -cell.box.cube_mm; before -= step) {
      const Vec3 entry = tip - before * direction;
      if (!is_object(scene_.material_at(entry))) continue;
      const auto outward = outward_normal(scene_.body(), scene_.frame().lps(entry));
      return outward ? shallowest_route(scene_, cell.ask, limits, entry, scene_.frame().direction(*outward), direction) : Route{};
    }
    return {};
  }

  const SearchScene& scene_;
  Certification task_;
  double points_ = 0;
  std::vector<std::unique_ptr<SheafBound>> bounds_;   // by ask
  std::vector<Side> sides_;                           // as the task has them
  std::vector<Cell> roots_;
  std::size_t number_ = 0;
};

Certifier::Certifier(SweepGrounds& grounds, Certification task) : search_(std::make_unique<Search>(grounds, std::move(task))) {}
Certifier::~Certifier() = default;
Certifier::Certifier(Certifier&&) noexcept = default;

void Certifier::look_closer(std::size_t side) { search_->look_closer(side); }
bool Certifier::knows() const { return search_->knows(); }
bool Certifier::finished(std::size_t side) const { return search_->finished(side); }
bool Certifier::within_gap(std::size_t side) const { return search_->within_gap(side); }
SideBound Certifier::bound(std::size_t side) const { return search_->bound(side); }
double Certifier::points() const { return search_->points(); }

SideBound certify(SweepGrounds& grounds, const Certification& task, double lattice_points) {
  Certifier certifier(grounds, task);
  while (!certifier.finished(0) && certifier.points() <= lattice_points) certifier.look_closer(0);
  return certifier.bound(0);
}

}  // namespace leastharm
