#include "components.h"

#include <algorithm>
#include <numeric>

namespace leastharm::segment_detail {
namespace {

struct Run {
  int first = 0, last = 0;   ///< along i, both inside
};

class Forest {
 public:
  std::int32_t add() {
    parent_.push_back(static_cast<std::int32_t>(parent_.size()));
    return parent_.back();
  }
  std::int32_t root(std::int32_t a) {
    while (parent_[static_cast<std::size_t>(a)] != a) {
      auto& up = parent_[static_cast<std::size_t>(a)];
      up = parent_[static_cast<std::size_t>(up)];
      a = up;
    }
    return a;
  }
  /// The older root wins, so that roots come in the order of first blocks.
  void join(std::int32_t a, std::int32_t b) {
    a = root(a), b = root(b);
    if (a < b) parent_[static_cast<std::size_t>(b)] = a;
    if (b < a) parent_[static_cast<std::size_t>(a)] = b;
  }

 private:
  std::vector<std::int32_t> parent_;
};

struct Runs {
  std::vector<Run> list;
  std::vector<std::size_t> row_start;   ///< first run of each row (j + height * k), and one past the end
};

Runs runs_of(const Coarse& coarse, const std::vector<std::uint8_t>& set) {
  Runs runs;
  for (int k = 0; k < coarse.size[2]; ++k)
    for (int j = 0; j < coarse.size[1]; ++j) {
      runs.row_start.push_back(runs.list.size());
      const std::uint8_t* row = &set[coarse.offset(0, j, k)];
      for (int i = 0; i < coarse.size[0]; ++i) {
        if (!row[i]) continue;
        const int first = i;
        while (i + 1 < coarse.size[0] && row[i + 1]) ++i;
        runs.list.push_back({first, i});
      }
    }
  runs.row_start.push_back(runs.list.size());
  return runs;
}

/// Joins the runs of two rows that touch.
void join_rows(const Runs& runs, std::size_t row_a, std::size_t row_b, int reach, Forest& forest) {
  std::size_t a = runs.row_start[row_a], b = runs.row_start[row_b];
  while (a < runs.row_start[row_a + 1] && b < runs.row_start[row_b + 1]) {
    const Run &ra = runs.list[a], &rb = runs.list[b];
    if (ra.first <= rb.last + reach && rb.first <= ra.last + reach)
      forest.join(static_cast<std::int32_t>(a), static_cast<std::int32_t>(b));
    ra.last < rb.last ? ++a : ++b;
  }
}

}  // namespace

Pieces pieces_of(const Coarse& coarse, const std::vector<std::uint8_t>& set, bool corners) {
  const Runs runs = runs_of(coarse, set);
  Forest forest;
  for (std::size_t r = 0; r < runs.list.size(); ++r) forest.add();
  const int height = coarse.size[1];
  const auto row = [&](int j, int k) {
    return static_cast<std::size_t>(j) + static_cast<std::size_t>(height) * static_cast<std::size_t>(k);
  };
  for (int k = 0; k < coarse.size[2]; ++k)
    for (int j = 0; j < height; ++j) {
      if (j > 0) join_rows(runs, row(j - 1, k), row(j, k), corners ? 1 : 0, forest);
      if (k == 0) continue;
      for (int dj = corners ? -1 : 0; dj <= (corners ? 1 : 0); ++dj)
        if (j + dj >= 0 && j + dj < height) join_rows(runs, row(j + dj, k - 1), row(j, k), corners ? 1 : 0, forest);
    }
  Pieces out;
  out.piece.assign(coarse.count(), -1);
  std::vector<std::int32_t> number(runs.list.size(), -1);
  for (int k = 0; k < coarse.size[2]; ++k)
    for (int j = 0; j < height; ++j)
      for (std::size_t r = runs.row_start[row(j, k)]; r < runs.row_start[row(j, k) + 1]; ++r) {
        std::int32_t& n = number[static_cast<std::size_t>(forest.root(static_cast<std::int32_t>(r)))];
        const Run& run = runs.list[r];
        if (n < 0) {
          n = static_cast<std::int32_t>(out.list.size());
          out.list.push_back({0, {run.first, j, k}, {run.last, j, k}});
        }
        Piece& piece = out.list[static_cast<std::size_t>(n)];
        piece.blocks += static_cast<std::size_t>(run.last - run.first + 1);
        piece.low = {std::min(piece.low[0], run.first), std::min(piece.low[1], j), piece.low[2]};
        piece.high = {std::max(piece.high[0], run.last), std::max(piece.high[1], j), k};
        std::fill_n(out.piece.begin() + static_cast<std::ptrdiff_t>(coarse.offset(run.first, j, k)),
                    run.last - run.first + 1, n);
      }
  return out;
}

}  // namespace leastharm::segment_detail
