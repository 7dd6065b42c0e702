#include "runs.h"

#include "eight.h"
#include "parallel.h"

namespace leastharm::segment_detail {
namespace {

/// Joined runs; the older root wins, so that roots come in the order of first voxels.
class Forest {
 public:
  explicit Forest(std::size_t n) : parent_(n) {
    for (std::size_t i = 0; i < n; ++i) parent_[i] = static_cast<std::int32_t>(i);
  }
  std::int32_t root(std::int32_t a) {
    while (parent_[static_cast<std::size_t>(a)] != a) {
      auto& up = parent_[static_cast<std::size_t>(a)];
      up = parent_[static_cast<std::size_t>(up)];
      a = up;
    }
    return a;
  }
  void join(std::int32_t a, std::int32_t b) {
    a = root(a), b = root(b);
    if (a < b) parent_[static_cast<std::size_t>(b)] = a;
    if (b < a) parent_[static_cast<std::size_t>(a)] = b;
  }

 private:
  std::vector<std::int32_t> parent_;
};

void append_runs(const std::uint8_t* row, int width, const ByteSet& set, int j, int k, std::vector<Run>& runs) {
  int first = -1;   // of the run at hand
  for (int i = 0; i < width; ++i) {
    if (const bool in = set[row[i]]; in != (first >= 0)) {
      if (!in) runs.push_back({first, i - 1, j, k, -1});
      first = in ? i : -1;
    }
    while (i + 8 < width && eight_at(row + i + 1) == eight_of(row[i])) i += 8;
  }
  if (first >= 0) runs.push_back({first, width - 1, j, k, -1});
}

/// Joins the runs of two rows that touch.
void join_rows(const std::vector<Run>& runs, std::size_t a, std::size_t a_end, std::size_t b, std::size_t b_end,
               int reach, Forest& forest) {
  while (a < a_end && b < b_end) {
    if (runs[a].first <= runs[b].last + reach && runs[b].first <= runs[a].last + reach)
      forest.join(static_cast<std::int32_t>(a), static_cast<std::int32_t>(b));
    runs[a].last < runs[b].last ? ++a : ++b;
  }
}

}  // namespace

std::vector<std::size_t> RunPieces::sizes() const {
  std::vector<std::size_t> out(static_cast<std::size_t>(pieces));
  for (const Run& run : runs) out[static_cast<std::size_t>(run.piece)] += static_cast<std::size_t>(run.length());
  return out;
}

RunPieces pieces_of(const std::array<int, 3>& size, const std::uint8_t* values, const ByteSet& set, bool corners,
                    int threads) {
  const auto [w, h, d] = size;
  const auto row_of = [&](int j, int k) { return static_cast<std::size_t>(j) + static_cast<std::size_t>(size[1]) * static_cast<std::size_t>(k); };
  std::vector<std::vector<Run>> slices(static_cast<std::size_t>(d));
  for_chunks(d, 1, threads, [&, nw = w, nh = h](int k, int, int) {
    for (int j = 0; j < nh; ++j)
      append_runs(values + row_of(j, k) * static_cast<std::size_t>(nw), nw, set, j, k, slices[static_cast<std::size_t>(k)]);
  });
  RunPieces out;
  std::vector<std::size_t> start(static_cast<std::size_t>(h) * static_cast<std::size_t>(d) + 1);
  for (const auto& slice : slices)
    for (const Run& run : slice) {
      out.runs.push_back(run);
      ++start[row_of(run.j, run.k) + 1];
    }
  for (std::size_t r = 1; r < start.size(); ++r) start[r] += start[r - 1];
  Forest forest(out.runs.size());
  const int reach = corners ? 1 : 0;
  const auto join = [&](std::size_t a, std::size_t b) {
    join_rows(out.runs, start[a], start[a + 1], start[b], start[b + 1], reach, forest);
  };
  for (int k = 0; k < d; ++k)
    for (int j = 0; j < h; ++j) {
      if (start[row_of(j, k)] == start[row_of(j, k) + 1]) continue;
      if (j > 0) join(row_of(j - 1, k), row_of(j, k));
      for (int dj = -reach; k > 0 && dj <= reach; ++dj)
        if (j + dj >= 0 && j + dj < h) join(row_of(j + dj, k - 1), row_of(j, k));
    }
  std::vector<std::int32_t> number(out.runs.size(), -1);
  for (std::size_t r = 0; r < out.runs.size(); ++r) {
    std::int32_t& n = number[static_cast<std::size_t>(forest.root(static_cast<std::int32_t>(r)))];
    if (n < 0) n = out.pieces++;
    out.runs[r].piece = n;
  }
  return out;
}

}  // namespace leastharm::segment_detail
