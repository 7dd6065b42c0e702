#include "certify.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <numbers>
#include <tuple>

#include "workers.h"

namespace leastharm {
namespace {

constexpr double kRootMm = 10;          // half a side of the boxes that the search begins with, at most
constexpr double kRootRad = 0.18;       // ... and of the patches of directions
constexpr std::size_t kBatch = 4096;
constexpr float kLeastMm = 0.02f;       // cells are not split below this
constexpr double kRadian = 180 / std::numbers::pi;
constexpr double kAwayMm = 80;
constexpr float kHalf = 0.500005f;
constexpr double kOverlap = 1 + 1e-5;   // of neighbouring cells, against rounding

/// Lowest bound first; ties by place and direction, so that the order hangs on nothing else.
bool later(const Cell& a, const Cell& b) {
  return std::tuple(a.bound, a.node, a.turn, a.tilt, a.middle.x(), a.middle.y(), a.middle.z()) >
         std::tuple(b.bound, b.node, b.turn, b.tilt, b.middle.x(), b.middle.y(), b.middle.z());
}

/// A node's box in the scene's box; a hair wider than it is, so that rounding leaves no gaps between neighbours.
void set_place(const SearchScene& scene, const EntryTree::Node& node, Cell& cell) {
  cell.middle = scene.in_box(node.middle).cast<float>();
  cell.half = (kOverlap * node.half + Vec3::Constant(1e-4)).cast<float>();
}

std::vector<Cell> root_cells(const SearchScene& scene, const EntryTree& tree, double tilt_deg) {
  std::vector<Cell> roots;
  if (tree.nodes.empty()) return roots;
  const double most_tilt = std::min(90.0, tilt_deg) / kRadian;
  const int rows = std::max(1, static_cast<int>(std::ceil(most_tilt / kRootRad)));
  const int columns = static_cast<int>(std::ceil(std::numbers::pi / kRootRad));
  std::vector<std::uint32_t> open{0};
  while (!open.empty()) {
    const std::uint32_t n = open.back();
    open.pop_back();
    const EntryTree::Node& node = tree.nodes[n];
    if (node.child >= 0 && node.half.maxCoeff() > kRootMm) {
      open.push_back(static_cast<std::uint32_t>(node.child) + 1);
      open.push_back(static_cast<std::uint32_t>(node.child));
      continue;
    }
    for (int r = 0; r < rows; ++r)
      for (int c = 0; c < columns; ++c) {
        Cell cell;
        cell.node = n;
        set_place(scene, node, cell);
        cell.tilt_half = static_cast<float>(kOverlap * most_tilt / rows);
        cell.tilt = static_cast<float>(-most_tilt + (2 * r + 1) * most_tilt / rows);
        cell.turn_half = static_cast<float>(kOverlap * std::numbers::pi / columns);
        cell.turn = static_cast<float>((2 * c + 1) * std::numbers::pi / columns);
        roots.push_back(cell);
      }
  }
  return roots;
}

std::array<Cell, 2> split_place(const SearchScene& scene, const EntryTree& tree, const Cell& cell) {
  std::array<Cell, 2> children{cell, cell};
  const EntryTree::Node& node = tree.nodes[cell.node];
  if (node.child >= 0) {
    for (std::uint32_t n = 0; n < 2; ++n) {
      children[n].node = static_cast<std::uint32_t>(node.child) + n;
      set_place(scene, tree.nodes[children[n].node], children[n]);
    }
    return children;
  }
  Eigen::Index axis = 0;
  cell.half.maxCoeff(&axis);
  for (int n = 0; n < 2; ++n) {
    Cell& child = children[static_cast<std::size_t>(n)];
    child.half[axis] *= kHalf;
    child.middle[axis] += (n == 0 ? -0.5f : 0.5f) * cell.half[axis];
  }
  return children;
}

std::array<Cell, 2> split_direction(const Cell& cell) {
  std::array<Cell, 2> children{cell, cell};
  const bool turns = cell.turn_half * std::cos(cell.tilt) >= cell.tilt_half;
  for (int n = 0; n < 2; ++n) {
    Cell& child = children[static_cast<std::size_t>(n)];
    float& half = turns ? child.turn_half : child.tilt_half;
    (turns ? child.turn : child.tilt) += (n == 0 ? -0.5f : 0.5f) * half;
    half *= kHalf;
  }
  return children;
}

/// Splits what costs the bound most. Where even no slack at all would leave it under the target, only its shape can rule
/// the cell out (too little yield, no room for the hand): then what is wider is split, seen from kAwayMm.
std::array<Cell, 2> split(const SearchScene& scene, const EntryTree& tree, const Cell& cell, double area, double target) {
  const float place = cell.half.norm();
  const double slack = area * static_cast<double>(cell.by_place + cell.by_direction);
  const bool hopeful = static_cast<double>(cell.bound) + slack >= target;
  const bool by_place = hopeful ? cell.by_place > cell.by_direction
                                : static_cast<double>(place) > kAwayMm * static_cast<double>(std::max(cell.turn_half, cell.tilt_half));
  return by_place && place > kLeastMm ? split_place(scene, tree, cell) : split_direction(cell);
}

bool is_smallest(const Cell& cell) {
  return cell.half.norm() <= kLeastMm && std::max(cell.turn_half, cell.tilt_half) * 60 <= kLeastMm;
}

class Search {
 public:
  Search(const SearchScene& scene, const EntryTree& tree, const CellBounds& bounds, std::size_t ask, int side, const CertifyLimits& limits)
      : scene_(scene), tree_(tree), bounds_(bounds), ask_(ask), side_(side), limits_(limits), target_(limits.target) {
    const double outer = scene.asks()[ask].needle->outer_mm;
    area_ = std::numbers::pi / 4 * outer * outer;
  }

  Certified run(std::vector<Cell> cells, const CertifyStep& step) {
    take_in(cells);
    const auto start = std::chrono::steady_clock::now();
    while (!open_.empty() && static_cast<double>(open_.front().bound) < target_) {
      result_.stopped = "nodes";
      if (result_.cells >= limits_.most_cells) break;
      result_.stopped = "time";
      if (std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count() > limits_.seconds) break;
      result_.stopped = "gap";
      const std::vector<Cell> batch = next_batch();
      if (batch.empty()) break;
      if (step) target_ = step(lowest(), result_.cells, batch);
      cells.clear();
      for (const Cell& cell : batch)
        for (const Cell& child : split(scene_, tree_, cell, area_, target_)) cells.push_back(child);
      take_in(cells);
    }
    if (result_.stopped.empty()) result_.stopped = "gap";
    result_.bound = lowest();
    result_.infeasible = std::isinf(result_.bound);
    return result_;
  }

 private:
  [[nodiscard]] double lowest() const { return open_.empty() ? closed_ : std::min(closed_, static_cast<double>(open_.front().bound)); }

  std::vector<Cell> next_batch() {
    std::vector<Cell> batch;
    while (batch.size() < kBatch && !open_.empty() && static_cast<double>(open_.front().bound) < target_) {
      std::pop_heap(open_.begin(), open_.end(), later);
      if (is_smallest(open_.back())) closed_ = std::min(closed_, static_cast<double>(open_.back().bound));
      else batch.push_back(open_.back());
      open_.pop_back();
    }
    return batch;
  }

  /// Bounds new cells, drops those that hold nothing, sets aside those that are high enough.
  void take_in(std::vector<Cell>& cells) {
    std::vector<char> keep(cells.size(), 0);
    for_each_chunk(cells.size(), 64, [&](std::size_t begin, std::size_t end) {
      for (std::size_t n = begin; n < end; ++n) {
        Cell& cell = cells[n];
        if (!bounds_.bound(cell, ask_, side_)) continue;
        keep[n] = 1;
        if (static_cast<double>(cell.bound) >= target_) continue;
        const double tip = bounds_.least_free_tip_mm(cell, ask_);
        if (tip > static_cast<double>(cell.tip_mm) + 0.5) {
          cell.tip_mm = static_cast<float>(std::min(tip, 1e6));
          keep[n] = std::isfinite(tip) && bounds_.bound(cell, ask_, side_);
        }
      }
    });
    result_.cells += cells.size();
    for (std::size_t n = 0; n < cells.size(); ++n) {
      if (!keep[n]) continue;
      if (static_cast<double>(cells[n].bound) >= target_) {
        closed_ = std::min(closed_, static_cast<double>(cells[n].bound));
        continue;
      }
      open_.push_back(cells[n]);
      std::push_heap(open_.begin(), open_.end(), later);
    }
  }

  const SearchScene& scene_;
  const EntryTree& tree_;
  const CellBounds& bounds_;
  std::size_t ask_;
  int side_;
  CertifyLimits limits_;
  double area_ = 0, target_, closed_ = std::numeric_limits<double>::infinity();
  std::vector<Cell> open_;   // a heap
  Certified result_;
};

}  // namespace

Certified certify(const SearchScene& scene, const EntryTree& tree, const CellBounds& bounds, std::size_t ask, int side,
                  const CertifyLimits& limits, const CertifyStep& step) {
  return Search(scene, tree, bounds, ask, side, limits).run(root_cells(scene, tree, scene.file().limits.tilt_deg), step);
}

}  // namespace leastharm
